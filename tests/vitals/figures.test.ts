/** A week whose every figure can be worked out by hand. */
import { expect, test } from 'vitest'
import { keyOf } from '../../gateway/site/reading.ts'
import { createVitals, type Vitals } from '../../gateway/vitals/evaluator.ts'
import { DAY, good, HOUR, MIN, START, toldOf, whyOf } from './plant.ts'
import { siteOf } from './tank.ts'

const site = siteOf(`  hp.run:
  hp.volume: { name: Wash water, resolution: 10 }
  makeup.volume: { in: finished, name: Make-up water, resolution: 10 }
  finished.level:
  filter.index:
  acid.run:
  hp.current:
  transfer.run:
  transfer.current:
  blower.run:
  blower.current:
  mains.l1: { quantity: voltage }
  tu.conductivity:
  makeup.conductivity: { in: finished }
  tu.do:
  tu.temperature:`)

/** Each day from 8 to 10: 1,500 L washed, 300 L made up, 3 advances of the paper, 6 min of acid. Currents stand still. */
function week(v: Vitals, days: number, everyMin = 2): void {
  let [washed, made, index] = [5000, 800, 40]
  for (let m = 0; m < days * 24 * 60; m += everyMin) {
    const at = START + m * MIN
    const h = (m / 60) % 24
    const open = h >= 8 && h < 10
    if (open) washed += (1500 / 120) * everyMin
    if (open) made += (300 / 120) * everyMin
    if (open && m % 40 === 0) index++
    const rows: readonly (readonly [string, number])[] = [
      ['hp.run', open ? 1 : 0],
      ['hp.volume', washed],
      ['makeup.volume', made],
      ['finished.level', 60],
      ['filter.index', index],
      ['acid.run', open && h < 8.09 ? 1 : 0],
      ['hp.current', open ? 18 : 0],
      ['transfer.run', open ? 1 : 0],
      ['transfer.current', 0],
      ['blower.run', 1],
      ['blower.current', 4],
      ['mains.l1', 400],
      ['tu.conductivity', 1500],
      ['makeup.conductivity', 500],
      ['tu.do', open ? 5 : h >= 10 && h < 10.5 ? 5 + 6 * (h - 10) : 8.4],
      ['tu.temperature', 18],
    ]
    v.take(rows.map(([id, x]) => good(keyOf(site.id, id), at, x)))
  }
}

test('a week of water, paper, acid and power comes out as by hand', () => {
  const v = createVitals(site)
  week(v, 8)
  const value = (id: string): number => toldOf(v, id).value
  expect(value('wash.volume')).toBeCloseTo(10.5, 2)
  expect(value('wash.hours')).toBeCloseTo(14, 1)
  expect(value('water.recycled')).toBeCloseTo(10.5 - 2.1, 2)
  expect(value('water.make-up-share')).toBeCloseTo(20, 1)
  // Nothing gained by the tank: all make-up was lost.
  expect(value('water.lost')).toBeCloseTo(2100, 0)
  expect(value('filter.per-m3')).toBeCloseTo(21 / 10.5, 2)
  // 6 min a day at 0.0333 L/min.
  expect(value('acid.per-m3')).toBeCloseTo((7 * 6 * 0.0333) / 10.5, 3)
  // sqrt(3) x 400 V x 0.85 = 588.9 W per A: 4 A for 168 h and 18 A for 14 h.
  expect(value('power.per-m3')).toBeCloseTo((0.5889 * (4 * 168 + 18 * 14)) / 10.5, 1)
  // 9,900 L of biology, 10,500 L in 168 h.
  expect(value('water.dwell')).toBeCloseTo((9900 / 10500) * 168, 0)
  expect(value('salt.cycles')).toBe(3)
  expect(toldOf(v, 'salt.cycles').notes.join(' ')).toContain('of 2100 L make-up in 7 days about 1400 L evaporated and 700 L were carried off')
  // (60 - 10) % of 5,700 L at 23 L/min.
  expect(value('wash.minutes-left')).toBeCloseTo((0.5 * 5700) / 23, 3)
  expect(whyOf(v, 'hp.load')).toBe('hp rests')
  // From 5 back over 7.4 mg/L: 24 min after the end of washing.
  expect(Math.abs(value('tu.recovery') - 24)).toBeLessThan(8)
})

test('before a week is full its sums are withheld, and a gap of a day withholds them again', () => {
  const v = createVitals(site)
  week(v, 6)
  expect(whyOf(v, 'water.recycled')).toBe('washing has not been counted for 7 days yet')
  const gap = createVitals(site)
  week(gap, 8)
  gap.take([good(keyOf(site.id, 'hp.run'), START + 10 * DAY, 0), good(keyOf(site.id, 'hp.run'), START + 10 * DAY + HOUR, 0)])
  expect(whyOf(gap, 'wash.hours')).toMatch(/^the washer was heard for 7\d % of the last 7 days and 90 % are needed$/)
})

test('the same dose that moves pH two and a half times as far tells that 40 % of the buffer is left', () => {
  const acid = siteOf('  tu.ph: { sampleEvery: 10s, reportEvery: 10s }\n  acid.run: { sampleEvery: 10s, reportEvery: 10s }')
  const v = createVitals(acid)
  for (let dose = 0; dose < 40; dose++) {
    const fall = dose < 30 ? 0.1 : 0.25
    for (let s = 0; s < 3600; s += 10) {
      const at = START + dose * HOUR + s * 1000
      // Forty seconds of dosing at minute 20, mixed in with a time constant of a minute, made good again by the end of the hour.
      const since = s - 1200
      const ph = 7.4 - (since > 0 ? fall * (1 - Math.exp(-since / 60)) * (since > 1200 ? Math.max(0, 1 - (since - 1200) / 1100) : 1) : 0)
      v.take([good(keyOf(acid.id, 'acid.run'), at, since >= 0 && since < 40 ? 1 : 0), good(keyOf(acid.id, 'tu.ph'), at, Math.round(ph * 100) / 100)])
    }
  }
  const o = toldOf(v, 'tu.buffer')
  expect(o.value).toBeGreaterThan(36)
  expect(o.value).toBeLessThan(44)
  expect(o.interval?.low).toBeLessThan(40.5)
  expect(o.interval?.high).toBeGreaterThan(39.5)
})

test('a replaced meter is no leak and no wash: what was counted across it is left out and the sum is "at least"', () => {
  const v = createVitals(site)
  const at = (h: number): number => START + h * HOUR
  v.note({ id: 1, site: site.id, kind: 'replacement', atMs: at(100.5), about: 'hp.volume', by: 'R. Vane', recordedMs: at(101) })
  for (let h = 0; h < 180; h += 0.25) v.take([good(keyOf(site.id, 'hp.volume'), at(h), h < 100.5 ? 90_000 + h * 10 : (h - 100.5) * 10)])
  const o = toldOf(v, 'wash.volume')
  expect(o.bound).toBe('at-least')
  expect(o.value).toBeGreaterThan(1.6)
  expect(o.value).toBeLessThan(1.7)
})
