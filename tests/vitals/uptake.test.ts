import { expect, test } from 'vitest'
import { UPTAKE_DEFAULTS } from '../../gateway/process/uptake.ts'
import { keyOf } from '../../gateway/site/reading.ts'
import { createVitals } from '../../gateway/vitals/evaluator.ts'
import { seeded } from '../process/noise.ts'
import { good, HOUR, START, toldOf, whyOf } from './plant.ts'
import { LEVELS, rowsOf, runTest, testSite, type AirOffTest } from './tank.ts'

/** Surface transfer drawn from the triangle 0, 0.1, 0.3 per h that the interval assumes; lengths 10 to 20 min. */
function drawn(uptake: number, i: number): AirOffTest {
  const next = seeded(900_001 + i * 104_729 + Math.round(uptake * 31))
  next()
  const a = next()
  const surface = a < 1 / 3 ? Math.sqrt(a * 0.3 * 0.1) : 0.3 - Math.sqrt((1 - a) * 0.3 * 0.2)
  return { uptake, surface, minutes: 10 + 10 * next(), start: uptake >= 20 ? 4.5 + 2 * next() : 7 + 1.5 * next(), seed: 500_000 + i * 17 }
}

const UPTAKES = [0.5, 1, 2, 5, 10, 20, 40, 60]

test.each(Object.keys(LEVELS) as (keyof typeof LEVELS)[])(
  'instrumentation %s: eight intervals of ten hold the true uptake of 0.5 to 60 mg/L/h, and no test is refused for a slow fall',
  (name) => {
    let told = 0
    let held = 0
    for (const uptake of UPTAKES) {
      for (let i = 0; i < 40; i++) {
        const v = runTest(LEVELS[name], drawn(uptake, i))
        const o = v.explain('tu.uptake')?.outcome
        if (o?.kind !== 'told') {
          // Only a fall too fast for the reports is refused, and says so.
          expect(uptake, o?.why).toBeGreaterThanOrEqual(20)
          expect(o?.why).toContain('before oxygen reached 1 mg/L')
          expect(o?.unlock).toContain('every 10 s')
          continue
        }
        told++
        if (o.interval && o.interval.high !== null && o.interval.low <= uptake && uptake <= o.interval.high) held++
      }
    }
    expect(told).toBeGreaterThan(name === 'normal' ? 200 : 310)
    expect(held / told).toBeGreaterThan(0.75)
    expect(held / told).toBeLessThan(0.85)
  },
)

test('a flat fall is a result: below a small figure, with the bound over the truth', () => {
  for (let seed = 1; seed <= 40; seed++) {
    const o = toldOf(runTest(LEVELS.normal, { uptake: 0.05, surface: 0.1, minutes: 15, start: 8.4, seed }), 'tu.uptake')
    expect(o.bound).toBe('below')
    expect(o.value).toBeGreaterThan(0.05)
    expect(o.value).toBeLessThan(3)
  }
})

test('the capacity of the air is read from the rise after it is back', () => {
  let held = 0
  for (let seed = 1; seed <= 20; seed++) {
    const v = runTest(LEVELS['rich, fine probe'], { uptake: 12, surface: 0.1, minutes: 15, start: 7, seed, kLa: 8 }, 90)
    const o = toldOf(v, 'tu.aeration')
    expect(Math.abs(o.value - 8)).toBeLessThan(1)
    if (o.interval && o.interval.low <= 8 && 8 <= (o.interval.high ?? 99)) held++
  }
  expect(held).toBeGreaterThanOrEqual(13)
})

test('without a stop of the air there is no uptake, and the unlock names the timer', () => {
  const site = testSite(LEVELS.normal)
  const v = createVitals(site)
  for (let i = 0; i < 120; i++)
    for (const [id, x] of [
      ['blower.run', 1],
      ['tu.temperature', 20],
      ['tu.do', 7.5],
    ] as const)
      v.take([good(keyOf(site.id, id), START + i * 60_000, x)])
  expect(whyOf(v, 'tu.uptake')).toBe('no air-off test was seen yet; without one only demand against supply is known')
  const o = v.explain('tu.uptake')?.outcome
  expect(o?.kind === 'withheld' && o.unlock).toContain('timer')
  expect(whyOf(v, 'tu.do.time-left')).toContain('uptake was not measured on this tank within 30 days; such tanks range from 5 min to 15 h')
})

test('tests are compared only with tests of the same hour after the same rest, and the median of three is needed', () => {
  const l = LEVELS['rich, fine probe']
  const site = testSite(l)
  const v = createVitals(site)
  const night = (day: number, uptake: number, hour = 2): void => {
    const fromMs = START + day * 24 * HOUR + hour * HOUR
    for (let s = 0; s < 1800; s += 10) {
      const on = s < 300 || s >= 1200
      const oxygen = on ? 8 : 8 - (uptake * (s - 300)) / 3600
      for (const [id, x] of [
        ['blower.run', on ? 1 : 0],
        ['tu.temperature', 20],
        ['hp.run', 0],
        ['transfer.run', 0],
        ['tu.do', Math.round(oxygen * 100) / 100],
      ] as const)
        v.take([good(keyOf(site.id, id), fromMs + s * 1000, x)])
    }
  }
  // Watched since noon of the day before: only then is the rest of the first night known.
  v.take([good(keyOf(site.id, 'hp.run'), START - 12 * HOUR, 0)])
  for (let day = 0; day < 3; day++) night(day, 6)
  night(3, 12, 14)
  expect(whyOf(v, 'tu.uptake.like')).toContain('0 earlier tests at the same hour')
  night(4, 3)
  const o = toldOf(v, 'tu.uptake.like')
  expect(o.value).toBeGreaterThan(40)
  expect(o.value).toBeLessThan(60)
  expect(UPTAKE_DEFAULTS.dropMs).toBe(120_000)
})

test('time to 1 mg/L stands on the newest test, names its age and the two further clocks, and is wider under another load', () => {
  const l = LEVELS['rich, fine probe']
  const site = testSite(l)
  const v = createVitals(site)
  v.take([good(keyOf(site.id, 'hp.run'), START - 12 * HOUR, 0)])
  v.take(rowsOf(site, l, { uptake: 6, surface: 0.1, minutes: 15, start: 8.5, seed: 3 }, 90))
  const at = START + 13.5 * HOUR
  for (let s = 0; s < 180; s += 10)
    for (const [id, x] of [
      ['blower.run', 1],
      ['tu.temperature', 20],
      ['hp.run', 0],
      ['transfer.run', 0],
      ['tu.do', 8.5],
    ] as const)
      v.take([good(keyOf(site.id, id), at + s * 1000, x)])
  const idle = toldOf(v, 'tu.do.time-left')
  // (8.5 - 1) mg/L at 6 mg/L/h is 75 min; the surface adds a little.
  expect(idle.interval?.low).toBeLessThan(80)
  expect(idle.interval?.high ?? 0).toBeGreaterThan(75)
  expect(idle.notes.join(' ')).toContain('odour is likely in')
  expect(idle.notes.join(' ')).toContain('13 h old')
  expect(idle.notes.join(' ')).toContain('this tank only')
})

test.each([
  // EN 25814, fresh water at 1 atm, printed to 0.01 mg/L; from a copy in an instrument manual.
  [16, 9.87],
  [18, 9.47],
  [20, 9.09],
  [30, 7.56],
])('at %i degrees %f mg/L are 100 % of saturation', (celsius, printed) => {
  const site = testSite(LEVELS['rich, fine probe'])
  const v = createVitals(site)
  for (let s = 0; s <= 120; s += 10)
    for (const [id, x] of [
      ['tu.temperature', celsius],
      ['tu.do', printed],
    ] as const)
      v.take([good(keyOf(site.id, id), START + s * 1000, x)])
  const o = toldOf(v, 'tu.do.saturation')
  expect(o.value).toBeGreaterThan(99.9)
  expect(o.value).toBeLessThan(100.1)
})

test('an uptake says when its probe was last checked in air, or that no such check stands in the log', () => {
  const l = LEVELS['rich, fine probe']
  const site = testSite(l)
  const rows = rowsOf(site, l, { uptake: 8, surface: 0.1, minutes: 15, start: 8, seed: 4 })
  const bare = createVitals(site)
  bare.take(rows)
  bare.take([good(keyOf(site.id, 'tu.do'), START + HOUR, 8)])
  expect(toldOf(bare, 'tu.uptake').notes.join(' ')).toContain('No check of the probe in air stands in the site log')
  const checked = createVitals(site)
  checked.note({ id: 1, site: site.id, kind: 'calibration', atMs: START - 12 * 24 * HOUR, about: 'tu.do', item: 'air', value: 9.1, by: 'R. Vane', recordedMs: START })
  checked.take(rows)
  checked.take([good(keyOf(site.id, 'tu.do'), START + HOUR, 8)])
  expect(toldOf(checked, 'tu.uptake').notes.join(' ')).toContain('The probe was last checked 12 days before.')
})

test('water that flows during the fall spoils the test, and that is said', () => {
  const l = LEVELS.rich
  const site = testSite(l)
  const v = createVitals(site)
  v.take(
    rowsOf(site, l, { uptake: 8, surface: 0.1, minutes: 15, start: 8, seed: 4 }).map((r) =>
      r.key === keyOf(site.id, 'transfer.run') && r.sourceMs > START + 15 * 60_000 && r.sourceMs < START + 18 * 60_000 ? { ...r, value: 1 } : r,
    ),
  )
  v.take([good(keyOf(site.id, 'tu.do'), START + HOUR, 8)])
  expect(whyOf(v, 'tu.uptake')).toBe('the last air-off test was not used: water or a chemical flowed into the tank during the test')
})
