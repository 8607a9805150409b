/** The clock of a controller and what of its messages is refused, as alarms of a composed gateway; and what only looks like it. Stories: common practice, no source. */
import { afterEach, expect, test } from 'vitest'
import { MIN, openStage, SITE, type Stage } from './stage.ts'

const open: Stage[] = []
afterEach(async () => {
  for (const s of open.splice(0)) await s.close()
})
const stage = async (more?: Parameters<typeof openStage>[0]): Promise<Stage> => {
  const s = await openStage(more)
  open.push(s)
  return s
}
const HOUR = 60
/** An alert asks for no answer: it stands as if somebody had given one. */
const ALERTED = 'acknowledged'
const raises = async (s: Stage, key: string): Promise<number> =>
  (await s.core().port.journal({ alarm: `${SITE}/${key}`, fromMs: 0, toMs: 2 ** 45, limit: 100 })).filter((e) => e.kind === 'raised').length
const byMs =
  (offMs: number): Stage['payload'] =>
  (nowMs, signals) =>
    JSON.stringify({ t: nowMs + offMs, signals })
/** The wall clock of London as a controller writes it, without a zone; `shiftMs`: how far it is off. */
const wall = (nowMs: number, shiftMs = 0): string => new Date(nowMs + shiftMs).toLocaleString('sv-SE', { timeZone: 'Europe/London' }).replace(' ', 'T')

test('ALM-37 a clock that is ten minutes behind is an alert after its delay with how far it is off, told once over a restart, and clears when it is set', async () => {
  const s = await stage()
  s.payload = byMs(-10 * MIN)
  await s.minutes(14)
  expect(s.alarm('site.clock').state).toBe('normal')
  await s.minutes(6)
  expect(s.alarm('site.clock')).toMatchObject({ state: ALERTED, unit: 's', value: 600, note: '10 min behind.', def: { priority: 'alert' } })
  await s.restart(2)
  await s.minutes(30)
  expect(s.alarm('site.clock').state).toBe(ALERTED)
  s.payload = byMs(0)
  await s.minutes(HOUR)
  expect(s.alarm('site.clock').state).toBe('normal')
  expect(await raises(s, 'site.clock')).toBe(1)
})

test.each([
  ['three minutes ahead', byMs(3 * MIN), '3 min ahead.'],
  ['thirty days behind', byMs(-30 * 24 * HOUR * MIN), '30 days behind.'],
  ['back in 2000 with a flat battery', (nowMs: number, signals: object) => JSON.stringify({ t: Date.UTC(2000, 0, 1) + (nowMs % 8_640_000), signals }), /cannot be true/],
  ['on local time that no site file speaks of', (nowMs: number, signals: object) => JSON.stringify({ t: wall(nowMs), signals }), /without a zone/],
  ['on local time in rows', (nowMs: number, signals: object) => JSON.stringify({ rows: [{ t: wall(nowMs), signals }] }), /without a zone/],
] as const)('ALM-37 a clock %s is told', async (_, payload, note) => {
  const s = await stage()
  s.payload = payload
  await s.minutes(35)
  expect(s.alarm('site.clock')).toMatchObject({ state: ALERTED, note: typeof note === 'string' ? note : (expect.stringMatching(note) as string) })
})

test('a clock that is a minute and a half off, a controller without a clock, and a store that is emptied raise nothing', async () => {
  for (const payload of [byMs(-1.5 * MIN), (_: number, signals: object) => JSON.stringify({ signals })]) {
    const s = await stage()
    s.payload = payload
    await s.minutes(40)
    expect(await raises(s, 'site.clock')).toBe(0)
  }
  const s = await stage()
  await s.minutes(10)
  const backMs = s.clock.nowMs() + 3 * HOUR * MIN
  await s.minutes(3 * HOUR, true)
  let sent = 0
  // A row a minute from three hours ago on, twelve in every message, the live row in between.
  s.payload = (nowMs, signals) =>
    nowMs % (2 * MIN) < MIN
      ? JSON.stringify({ t: nowMs, signals })
      : JSON.stringify({ rows: Array.from({ length: 12 }, () => ({ t: backMs - 3 * HOUR * MIN + sent++ * MIN, signals })) })
  await s.minutes(30)
  expect(await raises(s, 'site.clock')).toBe(0)
  expect(await raises(s, 'site.quarantine')).toBe(0)
})

test.each([
  ['spring', Date.UTC(2026, 2, 28, 23)],
  ['autumn', Date.UTC(2026, 9, 24, 22)],
])('local time a site file speaks of is right through the change of %s; a clock that is not put forward or back is an hour off', async (_, startMs) => {
  const right = await stage({ startMs, file: 'clock: { zone: local }\n' })
  right.payload = (nowMs, signals) => JSON.stringify({ t: wall(nowMs), signals })
  await right.minutes(5 * HOUR)
  expect([await raises(right, 'site.clock'), await raises(right, 'site.quarantine')]).toEqual([0, 0])
  const stays = await stage({ startMs, file: 'clock: { zone: local }\n' })
  const before = new Date(startMs).toLocaleString('sv-SE', { timeZone: 'Europe/London' })
  const shiftMs = Date.parse(`${before.replace(' ', 'T')}Z`) - startMs
  stays.payload = (nowMs, signals) => JSON.stringify({ t: new Date(nowMs + shiftMs).toISOString().slice(0, 19), signals })
  await stays.minutes(5 * HOUR)
  expect(stays.alarm('site.clock')).toMatchObject({ state: ALERTED, note: expect.stringMatching(/^60 min (ahead|behind)\.$/) as string })
})

test('ALM-36 what is refused for a quarter of an hour is one low alarm with its share, the loop does not look silent, and it clears when all is well again', async () => {
  const s = await stage()
  await s.minutes(HOUR)
  const good = s.payload
  // A new program of the controller writes a comma for a point.
  s.payload = (nowMs) => `{"t":${nowMs},"signals":{"tu.do":7,2}}`
  await s.minutes(15)
  expect(s.alarm('site.quarantine').state).toBe('normal')
  await s.minutes(15)
  expect(s.alarm('site.quarantine')).toMatchObject({ state: 'unacknowledged', unit: '%', def: { priority: 'low' } })
  expect(s.alarm('site.quarantine').note).toMatch(/^\d+ % of what it sent is refused/)
  await s.restart(1)
  await s.minutes(20)
  expect(s.alarm('site.quarantine').state).toBe('unacknowledged')
  s.payload = good
  await s.minutes(2 * HOUR)
  expect(s.alarm('site.quarantine').state).not.toBe('unacknowledged')
  expect(await raises(s, 'site.quarantine')).toBe(1)
})

test('one bad message, a burst of them, one signal of eleven that sends text, and signals nobody has put into the site file raise nothing', async () => {
  const bad: Stage['payload'] = () => '{"t":'
  const stories: readonly ((s: Stage, good: Stage['payload']) => Promise<void>)[] = [
    async (s) => {
      s.payload = bad
      await s.minutes(1)
    },
    async (s, good) => {
      await s.minutes(30)
      s.payload = bad
      await s.minutes(9)
      s.payload = good
    },
    async (s) => {
      s.payload = (t, signals) => JSON.stringify({ t, signals: { ...signals, 'tu.do': 'seven' } })
      await s.minutes(HOUR)
    },
    async (s) => {
      s.payload = (t, signals) => JSON.stringify({ t, signals: { ...signals, ...Object.fromEntries(Array.from({ length: 30 }, (_, i) => [`spare.in${i}`, i])) } })
      await s.minutes(HOUR)
    },
  ]
  for (const story of stories) {
    const s = await stage()
    const good = s.payload
    await story(s, good)
    s.payload = good
    await s.minutes(30)
    expect(await raises(s, 'site.quarantine')).toBe(0)
  }
})
