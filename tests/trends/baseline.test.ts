import { expect, test } from 'vitest'
import { BASELINE, baselineBand, type BaselineHour, type BaselinePlan, type Conditions } from '../../gateway/trends/baseline.ts'
import { learnable, learnedRulesSilent, LEARNING, type Pause, pausedBy } from '../../gateway/trends/learning.ts'
import { DAY_MS } from '../../gateway/trends/points.ts'
import { againstBoth, type CommissioningValue, freeze } from '../../gateway/trends/two-normals.ts'
import { because, gaussian, seen } from '../process/noise.ts'

const HOUR_MS = 3_600_000
const PLAN: BaselinePlan = { ...BASELINE, resolution: 0.1 }
const NOW_MS = 60 * DAY_MS

/** Sixty days of an irregular yard: oxygen 8.5 idle, lower the more was washed in two hours; 0.05 per K colder the other way. */
function yard(over: (h: number) => Partial<BaselineHour> = () => ({})): BaselineHour[] {
  const noise = gaussian(9)
  let sinceWashH = 0
  return Array.from({ length: 60 * 24 }, (_, h) => {
    const washing = h % 24 >= 8 && h % 24 < 15 && (h * 7919) % 5 < 3
    const washedM3 = washing ? 1 + ((h * 31) % 3) : 0
    sinceWashH = washing ? 0 : sinceWashH + 1
    const waterCel = 15 + 5 * Math.sin(h / 200)
    return { atMs: h * HOUR_MS, value: 8.5 - 0.8 * washedM3 - 0.1 * (waterCel - 15) + noise(0.1), washedM3, sinceWashH, waterCel, hourOfDay: h % 24, ...over(h) }
  })
}

const washingNow: Conditions = { washedM3: 2, sinceWashH: 0, waterCel: 15, hourOfDay: 10 }
const idleNow: Conditions = { washedM3: 0, sinceWashH: 9, waterCel: 15, hourOfDay: 2 }

test('the band of a washing hour is that of washing hours, not of the same hour of another day', () => {
  const washing = seen(baselineBand(yard(), washingNow, NOW_MS, PLAN))
  const idle = seen(baselineBand(yard(), idleNow, NOW_MS, PLAN))
  expect(washing.middle).toBeCloseTo(6.9, 0)
  expect(idle.middle).toBeCloseTo(8.5, 0)
  expect(washing.high).toBeLessThan(idle.middle)
  // Dead biology: no dip while washing. The washing band sees it, a band over all hours would not.
  expect(8.5).toBeGreaterThan(washing.high)
  expect(washing.hours).toBeGreaterThanOrEqual(20)
  expect(washing.notCompared).toEqual([])
})

test('there is no band before four weeks, nor before twenty comparable hours on five days', () => {
  expect(because(baselineBand(yard().slice(-27 * 24), idleNow, NOW_MS, PLAN))).toBe('only 27 days of this loop are known and 28 are needed: no band yet')
  expect(because(baselineBand([], idleNow, NOW_MS, PLAN))).toBe('only 0 days of this loop are known and 28 are needed: no band yet')
  const cold = { ...idleNow, waterCel: 4 }
  expect(because(baselineBand(yard(), cold, NOW_MS, PLAN))).toBe('only 0 hours on 0 days were like this one, and 20 on 5 days are needed: no band yet')
  const oneHotDay = yard((h) => (h >= 24 * 30 && h < 24 * 31 ? { waterCel: 40, washedM3: 0, sinceWashH: 9 } : {}))
  expect(because(baselineBand(oneHotDay, { ...idleNow, waterCel: 40 }, NOW_MS, PLAN))).toBe('only 24 hours on 1 days were like this one, and 20 on 5 days are needed: no band yet')
})

test('a condition that is not measured is not compared, and the band says which', () => {
  const bare = yard(() => ({ waterCel: null, washedM3: null }))
  const band = seen(baselineBand(bare, { washedM3: null, sinceWashH: 9, waterCel: null, hourOfDay: 2 }, NOW_MS, PLAN))
  expect(band.notCompared).toEqual(['washedM3', 'waterCel'])
})

test('time of day is compared where asked for, round midnight too', () => {
  const all = seen(baselineBand(yard(), { ...idleNow, hourOfDay: 23.5 }, NOW_MS, { ...PLAN, mostHours: 1000 }))
  const near = seen(baselineBand(yard(), { ...idleNow, hourOfDay: 23.5 }, NOW_MS, { ...PLAN, mostHours: 1000, alikeHours: 2 }))
  expect(near.hours).toBeLessThan(all.hours)
})

test('one hour in five gone mad does not move the band out of its own width', () => {
  const clean = seen(baselineBand(yard(), idleNow, NOW_MS, PLAN))
  const mad = seen(
    baselineBand(
      yard((h) => (h % 5 === 0 ? { value: 0 } : {})),
      idleNow,
      NOW_MS,
      PLAN,
    ),
  )
  expect(Math.abs(mad.middle - clean.middle)).toBeLessThan(clean.high - clean.middle)
})

test('a flat signal has a band of its resolution, and values without a figure teach nothing', () => {
  const flat = yard((h) => ({ value: h % 3 === 0 ? Number.NaN : 7 }))
  const band = seen(baselineBand(flat, idleNow, NOW_MS, PLAN))
  expect([band.low, band.middle, band.high].map((v) => Number(v.toFixed(9)))).toEqual([6.7, 7, 7.3])
})

test('conditions and plans outside their ranges are errors', () => {
  expect(() => baselineBand([], { ...idleNow, waterCel: 90 }, NOW_MS, PLAN)).toThrow('water temperature is 90 degrees C')
  expect(() => baselineBand([], { ...idleNow, washedM3: -1 }, NOW_MS, PLAN)).toThrow('water washed is -1 m3')
  expect(() => baselineBand([], idleNow, NOW_MS, { ...PLAN, resolution: 0 })).toThrow('resolution is 0')
  expect(() => baselineBand([], idleNow, NOW_MS, { ...PLAN, memoryDays: 10 })).toThrow('memory is 10 d')
})

const at = (day: number) => ({ atMs: day * DAY_MS })
const pause = (why: Pause['why'], from: number, to: number | null): Pause => ({ why, fromMs: from * DAY_MS, toMs: to === null ? null : to * DAY_MS })

test('nothing is learned during alarms, planned work, visits, rest, out of contract, nor for 14 days after a crash or a rest', () => {
  const days = Array.from({ length: 100 }, (_, d) => at(d))
  const learned = (pauses: readonly Pause[]): number => learnable(days, pauses, []).length
  expect(learned([])).toBe(100)
  for (const why of ['alarm', 'planned-work', 'on-site', 'out-of-contract'] as const) expect(learned([pause(why, 10, 15)])).toBe(95)
  for (const why of ['crash', 'resting'] as const) expect(learned([pause(why, 10, 15)])).toBe(81)
  expect(learned([pause('alarm', 40, null)])).toBe(40)
  expect(pausedBy(28.9 * DAY_MS, [pause('crash', 10, 15)])?.why).toBe('crash')
  expect(pausedBy(29 * DAY_MS, [pause('crash', 10, 15)])).toBeNull()
  expect(() => learned([pause('alarm', 15, 10)])).toThrow('pause "alarm" ends at')
})

test('a part replaced cuts what was learned before it', () => {
  expect(learnable([at(1), at(5), at(9)], [], [4 * DAY_MS, 2 * DAY_MS])).toEqual([at(5), at(9)])
})

test('learned rules are silent while commissioning, for four weeks after it, and while the loop comes back from a rest or a crash', () => {
  const say = (day: number, commissioned: number | null, pauses: readonly Pause[] = []) =>
    learnedRulesSilent(day * DAY_MS, commissioned === null ? null : commissioned * DAY_MS, pauses)
  expect(say(5, null)).toBe('the loop is being commissioned: only absolute limits speak')
  expect(say(20.5, 0)).toBe('only absolute limits speak for 8 more days after commissioning')
  expect(say(28, 0)).toBeNull()
  expect(say(105, 0, [pause('resting', 50, 100)])).toBe('the loop rests or came back from rest: its course is not its normal one')
  expect(say(105, 0, [pause('crash', 99, 100)])).toBe('the biology crashed or recovers from it: its course is not its normal one')
  expect(say(105, 0, [pause('alarm', 90, null), pause('planned-work', 104, null)])).toBe('the loop is being worked on: its course is not its normal one')
  expect(say(105, 0, [pause('alarm', 90, null), pause('on-site', 104, null)])).toBeNull()
  expect(say(115, 0, [pause('crash', 99, 100), pause('resting', 50, 100)])).toBeNull()
  expect(LEARNING.silentMs).toBe(28 * DAY_MS)
})

test('the rolling baseline never overwrites the commissioning value, and one that crept away is seen to have', () => {
  const commissioning: CommissioningValue = { value: 8.5, sd: 0.1, atMs: 0 }
  const band = { low: 7, middle: 7.5, high: 8, hours: 40, days: 12, notCompared: [] }
  expect(againstBoth(7.6, commissioning, band)).toEqual({ offCommissioning: expect.closeTo(-0.9, 12), offRolling: expect.closeTo(0.1, 12), band: 'inside', crept: true })
  expect(againstBoth(8.4, commissioning, { ...band, middle: 8.4, high: 9 })).toMatchObject({ band: 'inside', crept: false })
  expect(againstBoth(6, null, band)).toMatchObject({ offCommissioning: null, band: 'below', crept: null })
  expect(againstBoth(6, commissioning, null)).toMatchObject({ offRolling: null, band: 'no band', crept: null })
  expect(() => againstBoth(Number.NaN, commissioning, band)).toThrow('leave missing readings out')
})

test('a commissioning value is frozen: a second one is refused unless the part was replaced, and the old one stays', () => {
  const first: CommissioningValue = { value: 180, sd: 2, atMs: 10 }
  const sheet = freeze(new Map(), 'blower-pressure', first, null)
  expect(() => freeze(sheet, 'blower-pressure', { value: 200, sd: 2, atMs: 20 }, null)).toThrow('blower-pressure has its commissioning value 180 already')
  expect(() => freeze(sheet, 'blower-pressure', { value: 200, sd: 2, atMs: 20 }, 10)).toThrow('record the replacement')
  const later = freeze(sheet, 'blower-pressure', { value: 200, sd: 2, atMs: 20 }, 15)
  expect(later.get('blower-pressure')?.map((v) => v.value)).toEqual([180, 200])
  expect(sheet.get('blower-pressure')).toEqual([first])
})
