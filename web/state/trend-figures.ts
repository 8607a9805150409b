/** Figures of a span: how many readings, lowest, mean, median, highest, how long beyond each limit, what is missing. Pure. */
import type { HistoryBody, SignalBody } from '../../server/wire.ts'
import { silences } from './trend.ts'

export interface SpanFigures {
  readonly readings: number
  readonly bad: number
  /** null: no reading. */
  readonly low: number | null
  /** Mean of the readings, as a spreadsheet would take it over the same rows. */
  readonly mean: number | null
  /** Median of the readings, or of the means of spans where a span holds more than one; `exact` says which. */
  readonly median: number | null
  readonly high: number | null
  readonly exact: boolean
  /** Share of the time with readings, per cent. A reading holds until the next, but no longer than three reports. */
  readonly beyond: readonly { readonly name: string; readonly value: number; readonly share: number }[]
  readonly gaps: number
  readonly lostMs: number
}

export function figuresOf(h: HistoryBody, s: Pick<SignalBody, 'limits' | 'reportEveryMs'>): SpanFigures {
  const known = h.at.flatMap((ms, i) => {
    const [n, mean, min, max] = [h.count[i] ?? 0, h.mean[i], h.min[i], h.max[i]]
    return n > 0 && typeof mean === 'number' && typeof min === 'number' && typeof max === 'number' ? [{ ms, n, mean, min, max }] : []
  })
  const readings = known.reduce((sum, k) => sum + k.n, 0)
  const longest = Math.max(h.bucketMs, 3 * s.reportEveryMs)
  const held = known.map((k, i) => Math.min(longest, (known[i + 1]?.ms ?? Math.min(h.toMs, k.ms + longest)) - k.ms))
  const wholeMs = held.reduce((sum, ms) => sum + ms, 0)
  const lost = silences(h, s.reportEveryMs)
  return {
    readings,
    bad: h.bad.reduce((sum, n) => sum + n, 0),
    low: readings === 0 ? null : known.reduce((low, k) => Math.min(low, k.min), Number.POSITIVE_INFINITY),
    mean: readings === 0 ? null : known.reduce((sum, k) => sum + k.n * k.mean, 0) / readings,
    median: middleOf(known),
    high: readings === 0 ? null : known.reduce((high, k) => Math.max(high, k.max), Number.NEGATIVE_INFINITY),
    exact: known.every((k) => k.n === 1),
    beyond: s.limits.map((l) => {
      const out = (v: number): boolean => (l.name.startsWith('L') ? v < l.value : v > l.value)
      const ms = known.reduce((sum, k, i) => sum + (out(k.mean) ? (held[i] ?? 0) : 0), 0)
      return { name: l.name, value: l.value, share: wholeMs > 0 ? (100 * ms) / wholeMs : 0 }
    }),
    gaps: lost.length,
    lostMs: lost.reduce((sum, g) => sum + g.toMs - g.fromMs, 0),
  }
}

/** Each mean counts as often as it has readings. */
function middleOf(known: readonly { readonly n: number; readonly mean: number }[]): number | null {
  const sorted = known.toSorted((a, b) => a.mean - b.mean)
  const total = sorted.reduce((sum, k) => sum + k.n, 0)
  if (total === 0) return null
  const at = (rank: number): number => {
    let seen = 0
    for (const k of sorted) {
      seen += k.n
      if (rank < seen) return k.mean
    }
    return sorted.at(-1)?.mean ?? 0
  }
  return (at(Math.floor((total - 1) / 2)) + at(Math.floor(total / 2))) / 2
}
