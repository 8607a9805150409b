/**
 * What any method has to beat, on the same labels and the same span: never telling, telling at every report, telling every N hours, telling
 * as often as we do but at random. Their alarms are taken to name whatever fault is there, which favours them.
 */
import { prng } from '../../simulator/random.ts'
import type { Annunciation, LoopRun } from './label.ts'
import { score, type Score } from './score.ts'

const HOUR = 3_600_000

export const tellAt = (r: LoopRun, toldMs: number, wakes: boolean): Annunciation => ({
  site: r.site,
  alarm: `${r.site}/control`,
  trouble: 'any',
  priority: wakes ? 'high' : 'low',
  wokeMs: wakes ? toldMs : null,
  called: false,
  atMs: toldMs,
  toldMs,
  clearedMs: toldMs,
  soInTruth: null,
  value: null,
})

export const withTold = (runs: readonly LoopRun[], told: (r: LoopRun, i: number) => readonly Annunciation[]): readonly LoopRun[] => runs.map((r, i) => ({ ...r, told: told(r, i) }))

export const never = (runs: readonly LoopRun[]): Score => score(withTold(runs, () => []))

export const always = (runs: readonly LoopRun[]): Score => score(withTold(runs, (r) => every(r, r.reportEveryMs)))

export const elapsed = (runs: readonly LoopRun[], hours: number): Score => score(withTold(runs, (r) => every(r, hours * HOUR)))

export function every(r: LoopRun, ms: number): readonly Annunciation[] {
  const out: Annunciation[] = []
  for (let at = r.fromMs + ms; at < r.toMs; at += ms) out.push(tellAt(r, at, true))
  return out
}

/** Hours between two alarms that are tried; the cheapest of them is the control. */
export const ELAPSED_HOURS = [6, 12, 24, 48, 96, 168, 336, 720] as const

export function bestElapsed(runs: readonly LoopRun[]): { readonly hours: number; readonly score: Score } {
  const tried = ELAPSED_HOURS.map((hours) => ({ hours, score: elapsed(runs, hours) }))
  return tried.reduce((a, b) => (b.score.cost < a.score.cost ? b : a))
}

/** As many wakes and as many lines per loop as it really had, at random times: one score per try. */
export function random(runs: readonly LoopRun[], tries: number, seed: number): readonly Score[] {
  return Array.from({ length: tries }, (_, n) => {
    const next = prng(seed, `random control ${n}`)
    return score(withTold(runs, (r) => r.told.filter((a) => a.priority !== 'alert').map((a) => tellAt(r, r.fromMs + next() * (r.toMs - r.fromMs), a.wokeMs !== null))))
  })
}

/** Mean of each figure over scores of the same labels; a figure that is missing in one is missing in the mean. */
export function meanScore(all: readonly Score[]): Score {
  const first = all[0]
  if (!first) throw new Error('no scores to average')
  const mean = (read: (s: Score) => number | null): number | null => {
    const values = all.map(read)
    return values.some((v) => v === null) ? null : values.reduce<number>((s, v) => s + (v ?? 0), 0) / all.length
  }
  const out: Record<string, unknown> = { ...first }
  for (const key of Object.keys(first) as (keyof Score)[]) if (key !== 'airInTime') out[key] = mean((s) => s[key] as number | null)
  out['airInTime'] = [mean((s) => s.airInTime[0]), mean((s) => s.airInTime[1])]
  return out as unknown as Score
}
