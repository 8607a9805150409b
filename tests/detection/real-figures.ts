/**
 * What the scorer of the simulated loops leaves open for measured series: tellings that no label explains per month of one signal, the one
 * figure the controls are compared by, and rows that people called wrong against rows that we did. Pure.
 *
 *   precision  share of tellings that a labelled event explains; what only an event explains that is not asked (begun before the scored
 *              part, or of another sort) is left out on both sides
 *   bout       events less than 6 h apart; found when one of them is
 *   F1         harmonic mean of recall (events found) and precision, as is usual for detectors; the cost of score.ts is not used: its weights are of
 *              faults of a loop, and these labels are mostly of instruments
 */
import { every, tellAt, withTold } from './controls.ts'
import type { Annunciation, Label, LoopRun } from './label.ts'
import { prng } from '../../simulator/random.ts'
import type { RealRun } from './real-run.ts'
import { explains, foundBy, score } from './score.ts'

const MONTH_MS = (365.25 / 12) * 86_400_000
const BOUT_MS = 6 * 3_600_000

export interface Figures {
  readonly events: number
  readonly found: number
  readonly bouts: number
  readonly boutsFound: number
  readonly medianDelayMs: number | null
  readonly told: number
  /** No event behind it. */
  readonly untrue: number
  readonly untruePerMonth: number
  /** null: nothing was told. */
  readonly precision: number | null
  readonly f1: number
  readonly chatters: number
}

/** `months`: of one signal. */
export function figures(runs: readonly LoopRun[], months: number): Figures {
  const s = score(runs)
  let told = 0
  let right = 0
  let untrue = 0
  let bouts = 0
  let boutsFound = 0
  for (const r of runs) {
    told += r.told.length
    for (const a of r.told) {
      const behind = r.labels.filter((l) => explains(l, a))
      if (behind.some(isAsked)) right++
      else if (behind.length === 0) untrue++
    }
    let lastMs = Number.NEGATIVE_INFINITY
    let seen = false
    for (const l of r.labels.filter(isAsked)) {
      if (l.onsetMs - lastMs > BOUT_MS) {
        bouts++
        seen = false
      }
      lastMs = l.endMs
      if (!seen && foundBy(l, r.told).by !== null) {
        seen = true
        boutsFound++
      }
    }
  }
  const precision = right + untrue === 0 ? null : right / (right + untrue)
  return {
    events: s.observable,
    found: s.observableFound,
    bouts,
    boutsFound,
    medianDelayMs: s.medianDelayMs,
    told,
    untrue,
    untruePerMonth: months === 0 ? 0 : untrue / months,
    precision,
    f1: harmonic(s.recall ?? 0, precision ?? 0),
    chatters: s.chatters,
  }
}

const isAsked = (l: Label): boolean => l.seen === 'yes'

/** Tellings of these rules alone. */
export const onlyBy = <R extends LoopRun>(runs: readonly R[], rules: readonly string[]): readonly R[] =>
  runs.map((r) => ({ ...r, told: r.told.filter((a) => rules.includes(ruleOf(a))) }))

/** `site/tu.ph.rate.high`: rate. */
export const ruleOf = (a: Pick<Annunciation, 'alarm'>): string => a.alarm.slice(a.alarm.indexOf('/')).split('.')[2] ?? ''

const harmonic = (a: number, b: number): number => (a + b === 0 ? 0 : (2 * a * b) / (a + b))

export const signalMonths = (runs: readonly RealRun[]): number => runs.reduce((s, r) => s + (r.signals * (r.toMs - r.fromMs)) / MONTH_MS, 0)

/** The four controls, by name. `tryMin`: minutes between two tellings that may be tried; the best of them is the control. */
export function controls(runs: readonly RealRun[], tryMin: readonly number[], tries: number, seed: number): Readonly<Record<string, Figures>> {
  const months = signalMonths(runs)
  const at = (min: number): Figures =>
    figures(
      withTold(runs, (r) => every(r, min * 60_000)),
      months,
    )
  const [best, bestMin] = tryMin.map((min) => [at(min), min] as const).reduce((a, b) => (b[0].f1 > a[0].f1 ? b : a))
  const random = Array.from({ length: tries }, (_, n) => {
    const next = prng(seed, `real control ${n}`)
    return figures(
      withTold(runs, (r) => r.told.map(() => tellAt(r, r.fromMs + next() * (r.toMs - r.fromMs), true))),
      months,
    )
  })
  return {
    never: figures(
      withTold(runs, () => []),
      months,
    ),
    'always (every row)': figures(
      withTold(runs, (r) => every(r, r.reportEveryMs)),
      months,
    ),
    [`every ${bestMin < 60 ? `${bestMin} min` : `${bestMin / 60} h`} (best of ${tryMin.length})`]: best,
    [`random at our rate (mean of ${tries})`]: meanOf(random),
  }
}

function meanOf(all: readonly Figures[]): Figures {
  const mean = (read: (f: Figures) => number): number => all.reduce((s, f) => s + read(f), 0) / all.length
  const delays = all.flatMap((f) => f.medianDelayMs ?? [])
  const precise = all.flatMap((f) => f.precision ?? [])
  return {
    events: mean((f) => f.events),
    found: mean((f) => f.found),
    bouts: mean((f) => f.bouts),
    boutsFound: mean((f) => f.boutsFound),
    medianDelayMs: delays.length === 0 ? null : delays.reduce((a, b) => a + b, 0) / delays.length,
    told: mean((f) => f.told),
    untrue: mean((f) => f.untrue),
    untruePerMonth: mean((f) => f.untruePerMonth),
    precision: precise.length === 0 ? null : precise.reduce((a, b) => a + b, 0) / precise.length,
    f1: mean((f) => f.f1),
    chatters: mean((f) => f.chatters),
  }
}

export interface Points {
  readonly rows: number
  readonly wrong: number
  readonly flagged: number
  readonly both: number
}

/** Rows that people called wrong and rows that we did; rows that are not asked are left out. */
export function points(runs: readonly RealRun[], ours: (r: RealRun) => readonly Uint8Array[]): Points {
  const out = { rows: 0, wrong: 0, flagged: 0, both: 0 }
  for (const r of runs) {
    const lists = ours(r)
    for (let i = 0; i < r.wrong.length; i++) {
      const wrong = r.wrong[i]
      if (wrong === 2) continue
      const flagged = lists.some((l) => l[i] === 1)
      out.rows++
      if (wrong === 1) out.wrong++
      if (flagged) out.flagged++
      if (wrong === 1 && flagged) out.both++
    }
  }
  return out
}
