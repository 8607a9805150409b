import { describe, expect, test } from 'vitest'
import { convert } from '../../gateway/site/convert.ts'
import { QUANTITIES } from '../../gateway/site/quantity.ts'
import { UNITS } from '../../gateway/site/units.ts'
import { forecastsBody, historyBody, liveMessage, normalBody } from '../../server/wire.ts'
import { inUnits } from '../../web/state/in-units.ts'
import { digitsIn, turned, turnedBy, unitIn, US_UNITS } from '../../web/words/units.ts'
import { alarm, detail, signalOf as signal } from './bodies.ts'

const us = (text: string) => unitIn('us', text)

describe('printed figures (NIST SP 811, appendix B and section B.8, unless said otherwise)', () => {
  test.each([
    ['gallon, US: 3.785 412 L', 3.785412, 'L', 1, 1e-6],
    ['gallon per minute, US: 6.309 020 E-05 m3/s', 6.30902e-5 * 60_000, 'L/min', 1, 1e-6],
    ['psi: 6.894 757 kPa', 6.894757 / 100, 'bar', 1, 1e-6],
    ['psi: 68.947 57 mbar', 68.94757, 'mbar', 1, 1e-6],
    ['foot: 0.3048 m, exactly', 0.3048, 'm', 1, 1e-12],
    ['inch: 25.4 mm, exactly', 25.4, 'mm/h', 1, 1e-12],
    ['gallon, US: 3.785 412 E-03 m3', 3.785412e-3, 'm³', 1, 1e-6],
    ['water freezes', 0, '°C', 32, 1e-9],
    ['water boils', 100, '°C', 212, 1e-9],
    ['the scales meet at -40 (their definition)', -40, '°C', -40, 1e-9],
  ])('%s', (_, metric, text, expected, share) => {
    expect(Math.abs(turned(metric, us(text)) - expected)).toBeLessThanOrEqual(share * Math.max(1, Math.abs(expected)))
  })
})

test('each pair is the way back of the one by which the gateway takes such units in', () => {
  const back: Record<string, string> = { '[degF]': 'Cel', '[gal_us]/min': 'L/min', '[ft_i]': 'm', '[in_i]/h': 'mm/h' }
  for (const [text, to] of Object.entries(US_UNITS)) {
    const metric = back[to.unit] ?? Object.keys(UNITS).find((code) => UNITS[code]?.text === text) ?? ''
    for (const value of [-3, 0, 0.7, 21, 5700]) expect(convert(turned(value, to), to.unit, metric), `${value} ${text}`).toBeCloseTo(value, 7)
  }
})

test('every quantity with a unit that has a US twin is turned, all others stay, and nothing is turned for a metric reader', () => {
  const units = [...new Set(Object.values(QUANTITIES).map((q) => q.unit))]
  const twins = units.filter((u) => us(UNITS[u]?.text ?? u))
  expect(twins.toSorted()).toEqual(['Cel', 'L', 'L/min', 'm', 'mbar', 'mm/h'])
  for (const u of Object.values(UNITS)) expect(unitIn('metric', u.text)).toBeNull()
  for (const odd of ['', 'constructor', 'mg/L', '%', 'mV']) expect(us(odd)).toBeNull()
})

test('a step of the instrument is not lost, and not made finer by more than a figure; gallons for cubic metres have no coarser step than one', () => {
  for (const [text, to] of Object.entries(US_UNITS)) {
    for (const digits of [0, 1, 2]) {
      const shown = 10 ** -digitsIn(digits, to)
      const step = turnedBy(10 ** -digits, to)
      expect(shown, `${text}, ${digits} digits`).toBeLessThanOrEqual(4 * step)
      if (digits + to.digits >= 0) expect(shown, `${text}, ${digits} digits`).toBeGreaterThan(step / 20)
    }
  }
})

test('a signal turns as a whole: value, range, limits, digits, and the words for it', () => {
  const s = signal({
    id: 'tu.temperature',
    unit: 'Cel',
    unitText: '°C',
    unitSpoken: 'degrees Celsius',
    digits: 1,
    value: 14.3,
    range: [0, 50],
    limits: [{ name: 'H', value: 35, alarm: 'x' }],
  })
  const [t] = inUnits('us').detail(detail({ signals: [s] })).signals
  expect(t).toMatchObject({ unit: '[degF]', unitText: '°F', unitSpoken: 'degrees Fahrenheit', digits: 1, value: 57.74, range: [32, 122], limits: [{ name: 'H', value: 95 }] })
  expect(inUnits('metric').detail(detail({ signals: [s] })).signals).toEqual([s])
})

test('alarms turn with their limit; what has no figure stays without', () => {
  const pressure = inUnits('us').alarm(alarm({ unit: 'bar', digits: 1, value: 200, valueNow: null, limit: 240 }))
  expect(pressure).toMatchObject({ unit: 'psi', digits: 0, valueNow: null })
  expect([pressure.value, pressure.limit]).toEqual([expect.closeTo(2900.755, 2), expect.closeTo(3480.906, 2)])
  const oxygen = alarm({ unit: 'mg/L' })
  expect(inUnits('us').alarm(oxygen)).toEqual(oxygen)
})

test('a change of 3 °C is one of 5.4 °F, not 37.4', () => {
  expect(inUnits('us').alarm(alarm({ unit: '°C', value: 3, limit: 2, valueNow: null, difference: true }))).toMatchObject({ unit: '°F', value: 5.4, limit: 3.6 })
})

test('a trend turns in every column and keeps its gaps', () => {
  const h = historyBody.parse({
    site: 'yard',
    signal: 'tu.temperature',
    unit: 'Cel',
    unitText: '°C',
    fromMs: 0,
    toMs: 2,
    bucketMs: 1,
    at: [0, 1],
    count: [2, 0],
    bad: [0, 0],
    min: [10, null],
    max: [20, null],
    mean: [15, null],
    first: [10, null],
    last: [20, null],
    worst: ['good', null],
    extent: null,
  }) // prettier-ignore
  expect(inUnits('us').history(h)).toMatchObject({ unit: '[degF]', unitText: '°F', min: [50, null], max: [68, null], mean: [59, null], first: [50, null], last: [68, null] })
})

test('a band and a difference: ends turn with the zero of the scale, how far days differ turns without', () => {
  const turning = inUnits('us')
  const body = normalBody.parse({
    site: 'yard',
    atMs: 0,
    paused: null,
    signals: [
      {
        id: 'tu.temperature',
        band: { low: 10, middle: 15, high: 20, hours: 40, days: 9, notCompared: [] },
        why: null,
        days: 9,
        needed: 28,
        first: { value: 15, sd: 2, atMs: 0 },
        against: null,
      },
    ],
  }) // prettier-ignore
  expect(turning.normal(body).signals, 'before the loop has come nothing says the unit').toEqual([])
  turning.detail(detail({ id: 'yard', signals: [signal({ id: 'tu.temperature', unitText: '°C' })] }))
  expect(turning.normal(body).signals).toMatchObject([{ band: { low: 50, middle: 59, high: 68 }, first: { value: 59, sd: 3.6 } }])
})

test('live figures turn by the unit the loop told; before that none is shown in a wrong one', () => {
  const turning = inUnits('us')
  const m = liveMessage.parse({
    t: 'values',
    nowMs: 1,
    site: 'yard',
    values: [
      ['tu.temperature', 20, 'good', 'ok', 1, 1],
      ['tu.do', null, 'bad', 'x', 1, 1],
    ],
  }) // prettier-ignore
  expect(turning.message(m)).toMatchObject({ values: [] })
  turning.detail(detail({ id: 'yard', signals: [signal({ id: 'tu.temperature', unitText: '°C' }), signal({ id: 'tu.do', unitText: 'mg/L' })] }))
  expect(turning.message(m)).toMatchObject({
    values: [
      ['tu.temperature', 68, 'good', 'ok', 1, 1],
      ['tu.do', null, 'bad', 'x', 1, 1],
    ],
  })
  expect(inUnits('metric').message(m)).toBe(m)
})

test('what is left of a stock turns', () => {
  const f = forecastsBody.parse({
    site: 'yard',
    atMs: 0,
    expected: [
      {
        id: 'x',
        what: 'Acid',
        stage: null,
        kind: 'stock',
        says: 'told',
        lowMs: 1,
        medianMs: 2,
        highMs: 3,
        untilMs: null,
        from: 4,
        basis: null,
        left: { value: 37.85411784, unit: 'L' },
        why: null,
        unlock: null,
      },
    ],
  }) // prettier-ignore
  expect(inUnits('us').forecasts(f).expected[0]?.left).toEqual({ value: 10, unit: 'gal' })
})
