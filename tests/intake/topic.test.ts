import { expect, test } from 'vitest'
import { readTopic } from '../../gateway/intake/topic.ts'

test('a topic names a site, or a site and one signal, below the prefix', () => {
  expect(readTopic('loopkeeper/v1/ostrand', 'loopkeeper/v1')).toEqual({ ok: true, site: 'ostrand', signal: null })
  expect(readTopic('loopkeeper/v1/ostrand/tu.do', 'loopkeeper/v1')).toEqual({ ok: true, site: 'ostrand', signal: 'tu.do' })
  expect(readTopic('wash/ostrand/tu.do', 'wash')).toEqual({ ok: true, site: 'ostrand', signal: 'tu.do' })
})

test.each([
  ['other/v1/ostrand', 'does not begin with loopkeeper/v1/'],
  ['loopkeeper/v1', 'does not begin with'],
  ['loopkeeper/v10/ostrand', 'does not begin with'],
  ['loopkeeper/v1/', 'names no site'],
  ['loopkeeper/v1//tu.do', 'names no site'],
  ['loopkeeper/v1/ostrand/', 'ends in a slash'],
  ['loopkeeper/v1/ostrand/tu/do', 'write tu.do'],
  ['$SYS/broker/uptime', 'does not begin with'],
  ['', 'does not begin with'],
  [`loopkeeper/v1/${'a'.repeat(64)}`, '64 characters, at most 63'],
  [`loopkeeper/v1/ostrand/${'a'.repeat(168)}`, '168 characters, at most 167'],
])('the topic "%s" is refused, and the detail says why', (topic, detail) => {
  const read = readTopic(topic, 'loopkeeper/v1')
  expect(read).toMatchObject({ ok: false, code: 'TOPIC' })
  expect(read.ok ? '' : read.detail).toContain(detail)
})

test('a topic of 10 levels is looked at, one of 11 is refused for its depth', () => {
  const deep = (levels: number): string => ['loopkeeper', 'v1', 'ostrand', ...Array.from({ length: levels - 3 }, () => 'x')].join('/')
  expect(readTopic(deep(10), 'loopkeeper/v1')).toMatchObject({ detail: expect.stringContaining('has a slash in the signal') as string })
  expect(readTopic(deep(11), 'loopkeeper/v1')).toMatchObject({ detail: '11 levels, at most 10 are read' })
})

test('control characters of a topic do not reach the page', () => {
  const read = readTopic('a\u0000\u001b[31m\nb', 'loopkeeper/v1')
  expect(read.ok ? '' : read.detail).toContain('"a??[31m?b"')
})
