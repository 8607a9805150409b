import { expect, test } from 'vitest'
import { createQuarantine } from '../../gateway/intake/quarantine.ts'
import { createUnassigned } from '../../gateway/intake/unassigned.ts'

const example = (topic: string, atMs: number) => ({ topic, detail: `about ${topic}`, bytes: 12, atMs })

test('refusals of one kind share an entry with count, first and last seen and the newest example', () => {
  const q = createQuarantine()
  q.note('TIME', 'p/ostrand/tu.do', example('a', 1000))
  q.note('TIME', 'p/ostrand/tu.do', example('b', 3000))
  q.note('TOPIC', 'elsewhere', example('c', 2000))
  expect(q.entries()).toEqual([
    { code: 'TIME', pattern: 'p/ostrand/tu.do', topic: 'b', detail: 'about b', bytes: 12, count: 2, firstMs: 1000, lastMs: 3000 },
    { code: 'TOPIC', pattern: 'elsewhere', topic: 'c', detail: 'about c', bytes: 12, count: 1, firstMs: 2000, lastMs: 2000 },
  ])
  expect(q.totals()).toEqual({ TIME: 2, TOPIC: 1 })
})

test('a flood of one fault fills only its own places; the totals go on counting', () => {
  const q = createQuarantine(20)
  q.note('TIME', 'rare', example('rare', 0))
  for (let i = 0; i < 10_000; i++) q.note('TOPIC', `t${i}`, example(`t${i}`, i))
  expect(q.entries()).toHaveLength(21)
  expect(q.entries().some((e) => e.pattern === 'rare')).toBe(true)
  expect(q.entries()[0]?.pattern).toBe('t9999')
  expect(q.totals().TOPIC).toBe(10_000)
  expect(q.forgotten()).toBe(9980)
})

test('the entry unseen for longest makes room, not the oldest one that is still seen', () => {
  const q = createQuarantine(2)
  q.note('TOPIC', 'a', example('a', 1))
  q.note('TOPIC', 'b', example('b', 2))
  q.note('TOPIC', 'a', example('a', 3))
  q.note('TOPIC', 'c', example('c', 4))
  expect(q.entries().map((e) => e.pattern)).toEqual(['c', 'a'])
})

test('an unassigned signal is listed with its last figure and its rate', () => {
  const u = createUnassigned()
  for (let i = 0; i <= 10; i++) u.note('ostrand', 'tu.h2s', i, i * 30_000)
  u.note('ostrand', 'tu.once', null, 0)
  expect(u.list()).toEqual([
    {
      site: 'ostrand',
      signal: 'tu.h2s',
      count: 11,
      firstMs: 0,
      lastMs: 300_000,
      lastValue: 10,
      perMin: 2,
      guess: { quantity: 'h2s', unit: '[ppm]', because: 'its id ends in "h2s"' },
      from: null,
    },
    { site: 'ostrand', signal: 'tu.once', count: 1, firstMs: 0, lastMs: 0, lastValue: null, perMin: null, guess: null, from: null },
  ])
})

test('unassigned signals have a bound, and those that made room are counted', () => {
  const u = createUnassigned(100)
  for (let i = 0; i < 1000; i++) u.note('ostrand', `x${i}`, i, i)
  expect(u.list()).toHaveLength(100)
  expect(u.forgotten()).toBe(900)
})
