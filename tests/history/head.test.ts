import fc from 'fast-check'
import { expect, test } from 'vitest'
import { ChunkPool } from '../../gateway/history/chunks.ts'
import { newColumns } from '../../gateway/history/columns.ts'
import { Head } from '../../gateway/history/head.ts'

test('a head holds what a sorted map would, whatever is added, taken out and let go, in whatever order', () => {
  const step = fc.oneof(
    { weight: 12, arbitrary: fc.record({ what: fc.constant('add' as const), signal: fc.nat(3), t: fc.nat(400) }) },
    { weight: 3, arbitrary: fc.record({ what: fc.constant('remove' as const), signal: fc.nat(3), t: fc.nat(400) }) },
    { weight: 1, arbitrary: fc.record({ what: fc.constant('drop' as const), signal: fc.nat(3), t: fc.constant(0) }) },
  )
  fc.assert(
    fc.property(fc.array(step, { maxLength: 400, size: 'max' }), (stepsTaken) => {
      const head = new Head(new ChunkPool())
      const model = [0, 1, 2, 3].map(() => new Map<number, number>())
      stepsTaken.forEach(({ what, signal, t }, i) => {
        const held = model[signal] ?? new Map<number, number>()
        expect(head.find(signal, t)).toBe(held.get(t))
        if (what === 'drop') {
          head.drop(signal)
          held.clear()
        } else if (what === 'remove') {
          head.remove(signal, t)
          held.delete(t)
        } else if (!held.has(t)) {
          head.insert(signal, t, t + 1, i, i % 700)
          held.set(t, i)
        }
      })
      const c = newColumns(0)
      model.forEach((held, signal) => {
        const times = [...held.keys()].sort((a, b) => a - b)
        head.copy(signal, 0, 1_000, c)
        expect([...c.times.subarray(0, c.n)]).toEqual(times)
        expect([...c.received.subarray(0, c.n)]).toEqual(times.map((t) => t + 1))
        expect([...c.values.subarray(0, c.n)]).toEqual(times.map((t) => held.get(t)))
        expect([...c.codes.subarray(0, c.n)]).toEqual(times.map((t) => (held.get(t) ?? 0) % 700))
        expect([head.has(signal), head.firstMs(signal), head.lastMs(signal)]).toEqual([times.length > 0, times[0] ?? Number.POSITIVE_INFINITY, times.at(-1) ?? -1])
        head.copy(signal, 100, 200, c, 5)
        expect([...c.times.subarray(0, c.n)]).toEqual(times.filter((t) => t >= 100 && t < 200).slice(0, 5))
        head.copyLast(signal, c)
        expect([...c.times.subarray(0, c.n)]).toEqual(times.slice(-1))
      })
      expect(head.size).toBe(model.reduce((n, m) => n + m.size, 0))
    }),
    { numRuns: 200 },
  )
})

test('a site catching up with a day of readings in order fills its chunks instead of halving them', () => {
  const pool = new ChunkPool()
  const head = new Head(pool)
  head.append(1, 1e9, 1e9, 0, 0)
  for (let t = 0; t < 16_000; t++) head.insert(1, t, t, t, 0)
  expect(pool.inUse).toBeLessThan(1.1 * (16_001 / 16))
})

test('chunks let go by one head are used again by another, so memory does not grow from round to round', () => {
  const pool = new ChunkPool()
  for (let round = 0; round < 20; round++) {
    const head = new Head(pool)
    for (let signal = 0; signal < 500; signal++) for (let t = 0; t < 50; t++) head.append(signal, t, t, t, 0)
    for (let signal = 0; signal < 500; signal++) head.drop(signal)
  }
  expect(pool.inUse).toBe(0)
  expect(pool.made).toBe(500 * 4)
})
