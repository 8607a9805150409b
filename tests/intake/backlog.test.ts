/** A controller that uploads months of its own store is late, not wrong; one whose clock stands months back is wrong. */
import { describe, expect, test } from 'vitest'
import { createIntake, type Intake } from '../../gateway/intake/intake.ts'
import type { Seed } from '../../gateway/intake/tracks.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { fakeHistory, handClock, message, NOW, PREFIX, yard } from './parts.ts'

const DAY = 86_400_000
const MIN = 60_000
const DECLARED = 'clock: { backlog: 100d }\n'

function door(extra: string, seed: (key: string) => Seed | undefined = () => undefined) {
  const history = fakeHistory()
  const told: Reading[] = []
  const sites = new Map([['ostrand', yard('ostrand', extra)]])
  const clock = handClock()
  const intake: Intake = createIntake({ sites: () => sites, history, clock, prefix: PREFIX, onReadings: (r) => void told.push(...r), seed })
  const send = (signal: string, sentMs: number, value: number, receivedMs = NOW): void =>
    intake.take(message(`ostrand/${signal}`, JSON.stringify({ v: value, t: sentMs }), { receivedMs }))
  return { intake, history, told, clock, send }
}

describe('DQ-22 readings older than a week', () => {
  test('of a site that vouches for its store and was live a moment ago are late: own time, good, and no news', () => {
    const { history, told, send } = door(DECLARED)
    send('tu.do', NOW - 1000, 7)
    send('tu.do', NOW - 80 * DAY, 6.5)
    send('tu.do', NOW - 80 * DAY + 5 * MIN, 6.6)
    expect(history.stored.slice(1).map((r) => [r.sourceMs - NOW, r.clock, r.quality, r.live])).toEqual([
      [-80 * DAY, 'ok', 'good', false],
      [-80 * DAY + 5 * MIN, 'ok', 'good', false],
    ])
    expect(told.filter((r) => r.live)).toHaveLength(1)
  })

  test('of a site that does not vouch stay doubtful, live or not', () => {
    const { history, send } = door('')
    send('tu.do', NOW - 1000, 7)
    send('tu.do', NOW - 80 * DAY, 6.5)
    expect(history.stored[1]).toMatchObject({ clock: 'suspect', quality: 'uncertain', sub: 'clock_suspect', live: false })
  })

  test('of a controller that never was live with a right time stay doubtful, whatever its site vouches for', () => {
    const { history, send } = door(DECLARED)
    // Its clock stands eighty days back; another controller of the site is right.
    send('bio1.do', NOW - 1000, 7)
    for (let i = 0; i < 5; i++) send('tu.do', NOW + i * MIN - 80 * DAY, 6.5 + i / 10, NOW + i * MIN)
    expect(history.stored.slice(1).every((r) => r.clock === 'suspect' && r.quality === 'uncertain' && r.receivedMs === r.sourceMs)).toBe(true)
  })

  test('of a controller whose clock was right more than a day ago are doubtful until it is live again', () => {
    const { history, send } = door(DECLARED)
    send('tu.do', NOW - 1000, 7)
    send('tu.do', NOW - 80 * DAY, 6.5, NOW + 25 * 3_600_000)
    send('tu.do', NOW + 25 * 3_600_000 + 1000, 7, NOW + 25 * 3_600_000 + 2000)
    send('tu.do', NOW - 70 * DAY, 6.6, NOW + 25 * 3_600_000 + 3000)
    expect(history.stored.map((r) => r.clock)).toEqual(['ok', 'suspect', 'ok', 'ok'])
  })

  test.each([
    ['a controller that lost its clock and stamps 2020', Date.UTC(2020, 5, 1)],
    ['1970', 60_000],
    ['more than the store can hold', NOW - 101 * DAY],
  ])('%s is doubtful in a site that vouches for a hundred days', (_, sentMs) => {
    const { history, send } = door(DECLARED)
    send('tu.do', NOW - 1000, 7)
    send('tu.do', sentMs, 6.5)
    expect(history.stored[1]).toMatchObject({ clock: 'suspect', quality: 'uncertain' })
  })

  test('after a restart go on being late where the history shows a clock that was right', () => {
    const right = door(DECLARED, () => ({ newestMs: NOW - 5 * MIN, rightMs: NOW - 5 * MIN }))
    right.send('tu.do', NOW - 80 * DAY, 6.5)
    expect(right.history.stored[0]).toMatchObject({ clock: 'ok', live: false })
    const unknown = door(DECLARED, () => ({ newestMs: NOW - 5 * MIN }))
    unknown.send('tu.do', NOW - 80 * DAY, 6.5)
    expect(unknown.history.stored[0]).toMatchObject({ clock: 'suspect' })
  })
})

test('DQ-24 a store that empties itself beside live readings does not hide how far the clock is off', () => {
  const { intake, send } = door(DECLARED)
  for (let i = 0; i < 40; i++) {
    send('tu.do', NOW + i * MIN - 70_000, 7, NOW + i * MIN)
    for (let k = 0; k < 3; k++) send('tu.do', NOW - 80 * DAY + (3 * i + k) * 6 * 3_600_000, 7, NOW + i * MIN + k)
  }
  expect(intake.traffic()[0]?.clockBehindMs).toBe(70_000)
})

test('a store that empties itself counts towards the data plan once, not at its rate for the whole month', () => {
  const { intake, clock, send } = door(`dataPlanMb: 1\n${DECLARED}`)
  for (let i = 0; i < 120; i++) send('tu.do', NOW + i * MIN, 7, NOW + i * MIN)
  clock.atMs = NOW + 120 * MIN
  const before = intake.traffic()[0]?.month?.monthMb ?? 0
  for (let i = 0; i < 1000; i++) send('tu.do', NOW - 80 * DAY + i * MIN, 7, NOW + 119 * MIN + i)
  const month = intake.traffic()[0]?.month
  expect(month?.messages).toBe(1120)
  // A thousand messages of some 190 bytes with what the link adds.
  expect((month?.monthMb ?? 0) - before).toBeCloseTo(0.19, 1)
  expect((month?.monthMb ?? 9) - before).toBeLessThan(0.25)
})

test.each(['7d', '401d', '3h'])('a backlog of %s is refused with what would be right', (backlog) => {
  const read = readSiteFile('a.yaml', `id: a\nname: A\nzone: Europe/Lisbon\ntrain: [{ stage: sump }]\nsignals:\n  sump.high:\nclock: { backlog: ${backlog} }\n`)
  expect(read.ok).toBe(false)
  if (!read.ok) expect(read.faults[0]).toMatchObject({ field: 'clock.backlog', message: expect.stringContaining('more than 7d and at most 400d') })
})
