/** How long a tank lasts if its air stopped now: to 1 mg/L, and the two clocks after it. Always with the age of the uptake used, and of that tank. */
import { airLossClocks } from '../process/oxygen-left.ts'
import type { Estimate } from '../process/range.ts'
import { kLaAt, supplyMgPerLPerH } from '../process/transfer.ts'
import { type AirTests, type RiseRecord, TIMER, type UptakeRecord } from './air-tests.ts'
import { worst } from './grade.ts'
import type { Oxygen } from './oxygen-vitals.ts'
import { inputOf, valueAt } from './slots.ts'
import { type Input, type Outcome, withheld } from './vital.ts'
import { found, type Works } from './works.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
/** A test older than this says nothing of today. */
const OLDEST_TEST_MS = 30 * DAY
/** Loaded uptake over idle uptake of a first tank, and how far alpha may have moved since KLa was read. Common practice, no source. */
const LOADED_OVER_IDLE = 8
const ALPHA = { low: 0.5, high: 1.2 }

/** Uptake that may hold now: the test's while the tank is as rested as it was then; else what the air supplies by the KLa of a test, or the test's and up to eight times it. */
function uptakeToday(
  w: Works,
  o: Oxygen,
  tests: AirTests,
  atMs: number,
  cs: number,
  doNow: number,
): { readonly u: Estimate; readonly note: string; readonly record: UptakeRecord | RiseRecord } | null {
  const test = tests.state.uptakes.at(-1)
  const rise = tests.state.rises.at(-1)
  const lastWash = w.washing?.lastMs() ?? w.washing?.sinceMs() ?? null
  const hours = lastWash === null ? null : (atMs - lastWash) / HOUR
  const young = (r: { readonly toMs: number } | undefined): boolean => r !== undefined && atMs - r.toMs <= OLDEST_TEST_MS
  const alike =
    test !== undefined &&
    young(test) &&
    test.hoursSinceWash !== null &&
    hours !== null &&
    (test.hoursSinceWash < 4 ? hours <= test.hoursSinceWash + 1 && hours >= test.hoursSinceWash - 1 : hours >= 4)
  if (test && alike)
    return {
      u: { low: test.low, best: test.uptake, high: Math.max(test.high, test.uptake) },
      note: 'Uptake of the newest test; the tank is as rested as it was then.',
      record: test,
    }
  const celsius = valueAt(o.temperature.slot, atMs)
  if (rise && young(rise) && o.air?.on(atMs) === true && typeof celsius === 'number' && cs > doNow) {
    const best = supplyMgPerLPerH(kLaAt(rise.kLaPerH, rise.celsius, Math.min(40, Math.max(0, celsius))), cs, doNow)
    return {
      u: { low: best * ALPHA.low, best, high: best * ALPHA.high },
      note: 'Uptake from what the air supplies now, by the KLa of the newest test; detergent may have halved it since.',
      record: rise,
    }
  }
  if (test && young(test))
    return {
      u: { low: Math.min(test.low, test.uptake), best: test.uptake * 2, high: Math.max(test.high, test.uptake * LOADED_OVER_IDLE) },
      note: 'The newest test was made under another load: a fed tank takes up to eight times what an idle one does.',
      record: test,
    }
  return null
}

export function timeLeft(w: Works, o: Oxygen, tests: AirTests, atMs: number): Outcome {
  const doNow = valueAt(o.oxygen, atMs)
  if (typeof doNow === 'string') return withheld(doNow, `A good reading of ${o.oxygen.signal.name.toLowerCase()}`, [inputOf(o.oxygen)], atMs)
  const cs = o.saturation(atMs)
  if (typeof cs === 'string') return withheld(cs, `A good reading of ${o.temperature.slot.signal.name.toLowerCase()}`, [inputOf(o.temperature.slot)], atMs)
  const today = uptakeToday(w, o, tests, atMs, cs.value, doNow)
  if (!today) return withheld('uptake was not measured on this tank within 30 days; such tanks range from 5 min to 15 h', TIMER, [inputOf(o.oxygen)], atMs)
  const celsius = valueAt(o.temperature.slot, atMs)
  const clocks = airLossClocks({
    doMgPerL: Math.max(0, doNow),
    saturationMgPerL: cs.value,
    temperatureCel: typeof celsius === 'number' ? Math.min(40, Math.max(0, celsius)) : 20,
    uptakeMgPerLPerH: today.u,
  })
  if ('because' in clocks) return withheld(clocks.because, TIMER, [], atMs)
  const { toShortMin, toOdourH, toHarmH } = clocks
  const inputs: Input[] = [inputOf(o.oxygen), ...cs.inputs, found('test', 'uptake used', today.u.best, 'mg/L/h', today.record.toMs, today.record.grade)]
  const ageD = (atMs - today.record.toMs) / DAY
  const finite = Number.isFinite(toShortMin.best)
  return {
    kind: 'told',
    value: finite ? toShortMin.best : toShortMin.low,
    interval: { low: toShortMin.low, high: Number.isFinite(toShortMin.high) ? toShortMin.high : null },
    bound: finite ? null : 'at-least',
    atMs,
    grade: worst(inputs.map((i) => i.grade)),
    inputs,
    notes: [
      today.note,
      `The test is ${ageD < 1 ? `${(ageD * 24).toFixed(0)} h` : `${ageD.toFixed(0)} days`} old.`,
      `After that odour is likely in ${span(toOdourH)} h and a third of the activity is gone in ${span(toHarmH)} h (rates are ours, not measured).`,
      'It speaks of this tank only.',
    ],
  }
}

const span = (e: Estimate): string => `${e.low.toFixed(0)} to ${e.high.toFixed(0)}`
