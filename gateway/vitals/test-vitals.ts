/** What air-off tests tell of a tank: uptake, aeration capacity, both against earlier tests of the same kind, and the time left if the air stopped now. */
import { kLaAt20 } from '../process/transfer.ts'
import { uptakeAt20 } from '../process/uptake.ts'
import { type Stage, wallMinute } from '../site/site.ts'
import { type AirTests, type RiseRecord, TIMER, type UptakeRecord, watchAirTests } from './air-tests.ts'
import { doubted, type Grade, worse } from './grade.ts'
import type { Oxygen } from './oxygen-vitals.ts'
import { at, machinesOf, theStage, transferRuns, washerSignal } from './places.ts'
import { median } from './spread.ts'
import { timeLeft } from './time-left.ts'
import { type Outcome, type Told, type Vital, withheld } from './vital.ts'
import { blind, found, seen, type Sketch, type Works } from './works.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
/** Like with like: rested so long, within so much of the same hour, against the median of so many. Common practice, no source. */
const RESTED_H = 6
const SAME_HOUR_MIN = 60
const MOST_LIKE = 10
const LEAST_LIKE = 3

export function testVitals(w: Works, stage: Stage, o: Oxygen | null): readonly Vital[] {
  const place = stage.name.toLowerCase()
  const inputs = [o?.oxygen.signal, o?.temperature.slot.signal, ...(o?.air?.slots.map((s) => s.signal) ?? [])]
  const sketch = (id: string, name: string, unit: string, digits: number, formula: string, source: string, window: string): Sketch => ({
    id: `${stage.id}.${id}`,
    name: `${name}, ${place}`,
    unit,
    digits,
    tank: stage.id,
    inputs,
    formula,
    source,
    window,
  })
  const uptake = sketch(
    'uptake',
    'Oxygen uptake',
    'mg/L/h',
    1,
    'fall of oxygen without air, its first 2 min left out, with what the surface still gives (0 to 0.3 per h): dC/dt = -uptake + ks (C* - C). Judged by the error of the slope: a flat one is a result',
    'slope method of Standard Methods 2710 B; what is accepted: common practice, no source',
    'one air-off test',
  )
  const uptakeLike = sketch(
    'uptake.like',
    'Uptake against earlier tests',
    '%',
    0,
    '100 x uptake at 20 °C / median of the last 10 tests at the same hour, 6 h or more after washing',
    'factors 1.05 and 1.07 per degree: letter of the North Carolina Department of Environmental Quality on 40 CFR 503 tests; the rest: common practice, no source',
    'tests of the last two months',
  )
  const aeration = sketch(
    'aeration',
    'Aeration capacity',
    '/h',
    1,
    'KLa from the time constant of the rise after the air is back, read from 20 to 90 % of it: ln(Cr - C) falls by KLa per hour',
    'shape of the curve: ASCE 2; part read: common practice, no source',
    'one return of the air',
  )
  const aerationLike = sketch(
    'aeration.like',
    'Aeration against earlier tests',
    '%',
    0,
    '100 x KLa at 20 °C (1.024 per degree) / median of the last 10, 6 h or more after washing',
    'ASCE 2 for the factor; the rest: common practice, no source',
    'tests of the last two months',
  )
  const left = sketch(
    'do.time-left',
    'Time to 1 mg/L without air',
    'min',
    0,
    'from oxygen now to 1 mg/L at the uptake of this tank, with what the surface gives (0 to 0.3 per h)',
    'balance of oxygen; surface transfer: common practice, no source',
    'newest reading and the newest test of 30 days',
  )
  const all = [uptake, uptakeLike, aeration, aerationLike, left]
  const lacks = !o
    ? at(w.site, stage.id, 'do')
      ? 'the temperature of the water is not measured'
      : `oxygen is not measured in ${theStage(stage)}`
    : !o.air
      ? 'no signal tells whether this tank has air'
      : null
  if (!o?.air) {
    if (stage.kind !== 'treatment' && !o) return []
    const unlock = !o
      ? at(w.site, stage.id, 'do')
        ? `Temperature in ${theStage(stage)}`
        : `Oxygen and temperature in ${theStage(stage)}`
      : 'Run contact or air pressure of the blower'
    return all.map((s) => blind(w, s, lacks ?? '', unlock))
  }
  const { air } = o
  const washer = washerSignal(w.site, 'run')
  const movers = [
    ...transferRuns(w.site),
    ...machinesOf(w.site, 'dosing').flatMap((e) => (e.serves.includes(stage.id) ? (at(w.site, e.id, 'run') ?? []) : [])),
    ...(washer ? [washer] : []),
  ]
  const tests = watchAirTests(
    {
      stage: stage.id,
      oxygen: o.oxygen,
      air,
      temperature: o.temperature,
      washing: w.washing,
      movers: movers.map((m) => w.slot(m)),
      pressureAtm: w.pressureAtm,
      salinity: o.salinity,
    },
    w.memory,
  )
  return [
    seen(
      w,
      uptake,
      'event',
      (atMs) => uptakeNow(w, o, tests, atMs),
      () => tests.state.uptakeVersion,
    ),
    seen(
      w,
      uptakeLike,
      'event',
      (atMs) => uptakeAgainst(w, tests, atMs),
      () => tests.state.uptakeVersion,
    ),
    seen(
      w,
      aeration,
      'event',
      (atMs) => aerationNow(tests, atMs),
      () => tests.state.riseVersion,
    ),
    seen(
      w,
      aerationLike,
      'event',
      (atMs) => aerationAgainst(w, tests, atMs),
      () => tests.state.riseVersion,
    ),
    seen(w, left, 'beat', (atMs) => timeLeft(w, o, tests, atMs)),
  ]
}

const unlockOf = (why: string): string => (why.includes('before oxygen reached') ? 'Oxygen every 10 s: it fell too fast for so few samples' : TIMER)

function uptakeNow(w: Works, o: Oxygen, tests: AirTests, atMs: number): Outcome {
  const { uptakes, refused } = tests.state
  if (refused) return withheld(`the last air-off test was not used: ${refused.why}`, unlockOf(refused.why), [], refused.atMs)
  const r = uptakes.at(-1)
  if (!r) return withheld('no air-off test was seen yet; without one only demand against supply is known', TIMER, [], atMs)
  return uptakeTold(r, lastCheck(w, o, r.toMs))
}

/** A gain error of the probe passes into every uptake, so its last check in air is told with it. */
function lastCheck(w: Works, o: Oxygen, atMs: number): string {
  const checks = w.book.of('calibration').filter((n) => n.atMs <= atMs && (n.about === o.oxygen.signal.id || (n.about === o.stage.id && /oxygen|\bdo\b|air/i.test(n.item ?? ''))))
  const last = checks.at(-1)
  return last
    ? `The probe was last checked ${Math.floor((atMs - last.atMs) / DAY)} days before.`
    : 'No check of the probe in air stands in the site log: a gain error of it is in the figure.'
}

function uptakeTold(r: UptakeRecord, check: string): Told {
  const notes = [
    r.hoursSinceWash === null ? 'When it was last washed is not known.' : `${r.hoursSinceWash < 100 ? r.hoursSinceWash.toFixed(1) : 'Over 100'} h after the last wash.`,
    ...(r.kind === 'about'
      ? [`${r.uptake <= 2 ? 'Low, about' : 'About'}: too much of it is what the surface may give, or what the steps of the signal hide. Not compared with other tests.`]
      : []),
    ...(r.kind === 'below' ? [`Not told apart from none: below ${r.bound.toFixed(1)} mg/L/h.`] : []),
    ...(r.movingKnown ? [] : ['No signal tells whether water flowed meanwhile: taken as none.']),
    check,
    'A clean optical probe lags 30 to 60 s, a fouled one minutes; without air the tank also settles.',
  ]
  return {
    kind: 'told',
    value: r.kind === 'below' ? r.bound : r.uptake,
    interval: { low: r.low, high: r.high },
    bound: r.kind === 'below' ? 'below' : null,
    atMs: r.toMs,
    grade: r.movingKnown ? r.grade : doubted(r.grade),
    inputs: [
      found('test', 'fall of oxygen', r.drop, 'mg/L', r.fromMs, r.grade),
      found('test', 'samples', r.samples, '', r.toMs),
      found('test', 'length', (r.toMs - r.fromMs) / 60_000, 'min', r.toMs),
      found('test', 'water temperature', r.celsius, 'Cel', r.toMs),
    ],
    notes,
  }
}

const minuteApart = (zone: string, aMs: number, bMs: number): number => {
  const d = Math.abs(wallMinute(zone, aMs).minute - wallMinute(zone, bMs).minute)
  return Math.min(d, 1440 - d)
}

function uptakeAgainst(w: Works, tests: AirTests, atMs: number): Outcome {
  const { uptakes, refused } = tests.state
  if (refused) return withheld(`the last air-off test was not used: ${refused.why}`, unlockOf(refused.why), [], refused.atMs)
  const r = uptakes.at(-1)
  if (!r) return withheld('no air-off test was seen yet', TIMER, [], atMs)
  const no = unfit(r)
  if (no) return withheld(no.why, no.unlock, [], r.toMs)
  if (r.kind === 'about') return withheld('the newest uptake is only known as "about": no index is made of it', 'A longer test, or a finer signal', [], r.toMs)
  const like = uptakes.slice(0, -1).filter((x) => x.kind === 'measured' && unfit(x) === null && minuteApart(w.site.zone, x.fromMs, r.fromMs) <= SAME_HOUR_MIN)
  const before = like.slice(-MOST_LIKE).map((x) => uptakeAt20(x.uptake, x.celsius))
  if (before.length < LEAST_LIKE)
    return withheld(`${before.length} earlier tests at the same hour, ${RESTED_H} h or more after washing, are known and ${LEAST_LIKE} are needed`, TIMER, [], r.toMs)
  const middle = median(before)
  const at20 = (v: number): number => (100 * uptakeAt20(v, r.celsius)) / middle
  const grade = like.slice(-MOST_LIKE).reduce<Grade>((g, x) => worse(g, x.grade), r.grade)
  return {
    kind: 'told',
    value: at20(r.kind === 'below' ? r.bound : r.uptake),
    interval: { low: at20(r.low), high: at20(r.high) },
    bound: r.kind === 'below' ? 'below' : null,
    atMs: r.toMs,
    grade,
    inputs: [found('test', 'uptake', r.uptake, 'mg/L/h', r.toMs, r.grade), found('test', `median of ${before.length} like tests, at 20 °C`, middle, 'mg/L/h', r.toMs, grade)],
    notes: ['Idle uptake is a sixth of loaded uptake: only tests of the same hour after the same rest are compared.'],
  }
}

function unfit(r: { readonly hoursSinceWash: number | null; readonly celsius: number }): { readonly why: string; readonly unlock: string } | null {
  if (r.hoursSinceWash === null)
    return { why: 'when it was last washed is not known, so tests cannot be compared like with like', unlock: 'Wash meter, or run contact of the washer' }
  if (r.hoursSinceWash < RESTED_H) return { why: `the test came ${r.hoursSinceWash.toFixed(1)} h after washing and ${RESTED_H} h are needed`, unlock: 'A test at a quieter hour' }
  if (r.celsius < 10 || r.celsius > 30) return { why: `the water was at ${r.celsius.toFixed(1)} °C and tests compare between 10 and 30`, unlock: 'A test in milder water' }
  return null
}

function riseNow(tests: AirTests, atMs: number): RiseRecord | Outcome {
  const { rises, riseRefused } = tests.state
  if (riseRefused) return withheld(`the last return of the air could not be read: ${riseRefused.why}`, TIMER, [], riseRefused.atMs)
  return rises.at(-1) ?? withheld('no return of the air was seen yet', TIMER, [], atMs)
}

function aerationNow(tests: AirTests, atMs: number): Outcome {
  const r = riseNow(tests, atMs)
  if (!('kLaPerH' in r)) return r
  return {
    kind: 'told',
    value: r.kLaPerH,
    interval: { low: r.low, high: r.kind === 'at-least' ? null : r.high },
    bound: r.kind === 'at-least' ? 'at-least' : null,
    atMs: r.toMs,
    grade: r.grade,
    inputs: [found('test', 'oxygen came to rest at', r.restingMgPerL, 'mg/L', r.toMs, r.grade), found('test', 'water temperature', r.celsius, 'Cel', r.toMs)],
    notes: [
      'From the time constant only: a probe that reads low by a share leaves it untouched, a slow probe makes it too small.',
      ...(r.kind === 'at-least' ? ['The probe is too slow to tell more.'] : []),
    ],
  }
}

function aerationAgainst(w: Works, tests: AirTests, atMs: number): Outcome {
  const r = riseNow(tests, atMs)
  if (!('kLaPerH' in r)) return r
  const rested = (x: RiseRecord): boolean => x.hoursSinceWash !== null && x.hoursSinceWash >= RESTED_H
  if (!rested(r))
    return withheld(
      r.hoursSinceWash === null
        ? 'when it was last washed is not known, so tests cannot be compared like with like'
        : `the air came back ${r.hoursSinceWash.toFixed(1)} h after washing and ${RESTED_H} h are needed: detergent alone halves transfer`,
      r.hoursSinceWash === null ? 'Wash meter, or run contact of the washer' : 'A test at a quieter hour',
      [],
      r.toMs,
    )
  const like = tests.state.rises
    .slice(0, -1)
    .filter((x) => rested(x) && x.kind === 'measured')
    .slice(-MOST_LIKE)
  if (like.length < LEAST_LIKE) return withheld(`${like.length} earlier returns of the air like this one are known and ${LEAST_LIKE} are needed`, TIMER, [], r.toMs)
  const middle = median(like.map((x) => kLaAt20(x.kLaPerH, x.celsius)))
  const share = (v: number): number => (100 * kLaAt20(v, r.celsius)) / middle
  return {
    kind: 'told',
    value: share(r.kLaPerH),
    interval: { low: share(r.low), high: r.kind === 'at-least' ? null : share(r.high) },
    bound: r.kind === 'at-least' ? 'at-least' : null,
    atMs: r.toMs,
    grade: like.reduce<Grade>((g, x) => worse(g, x.grade), r.grade),
    inputs: [found('test', 'KLa', r.kLaPerH, '/h', r.toMs, r.grade), found('test', `median of ${like.length} like tests, at 20 °C`, middle, '/h', r.toMs)],
    notes: [],
  }
}
