/**
 * The quality tests over a whole series, each written straight from its sentence in the requirements. For the published vectors, and
 * for asking which readings of the past given thresholds would have flagged. The live form (qartod-stream.ts) gives the same flags.
 *
 * Rows ascend strictly in time, or a RangeError says which does not. Readings without a figure are rows with null. Cost: a test
 * over a window of w readings looks at all of them for each of the n rows.
 */
import type { QcFlag } from '../site/reading.ts'
import { above, longer } from './qartod-compare.ts'
import { aggregate, withFlag, type TestFlags } from './qartod.ts'
import { atEnd, flatFlag, type Moving, type Stillness } from './qartod-flat.ts'
import { anchored, heldAgainst, type Anchor } from './qartod-anchors.ts'
import { attenuatedFlag, companyFlag, grossFlag, rateFlag, spikeFlag, type Movement } from './qartod-judge.ts'
import {
  flatGapMs,
  gapMs,
  type AttenuatedSpec,
  type CheckSpec,
  type CompanySpec,
  type FlatSpec,
  type GrossSpec,
  type RateSpec,
  type SpikeSpec,
  type SpreadSpec,
} from './qartod-spec.ts'
import { deviation, NOTHING, spanOf, SPANS, type Summary } from './qartod-spans.ts'

export interface Row {
  readonly atMs: number
  readonly value: number | null
}

/** A row with what its surroundings say; what is absent is not known. */
export interface CheckRow extends Row {
  /** State of the signal named by `runWhen`. */
  readonly runs?: boolean | null
  /** Newest happening that must have moved this signal. */
  readonly event?: Moving | null
  /** Latest movement of the partner (multivariate) and of the second sensor (neighbour). */
  readonly partner?: Movement | null
  readonly second?: Movement | null
}

const values = (rows: readonly Row[], flag: (x: number, i: number) => QcFlag): readonly QcFlag[] => rows.map((r, i) => (r.value === null ? 9 : flag(r.value, i)))

export const grossRange = (rows: readonly Row[], spec: GrossSpec): readonly QcFlag[] => rows.map((r) => grossFlag(r.value, spec))

/** 2 for a reading whose left or right row is absent, without a figure, or beyond a gap. */
export function spikes(rows: readonly Row[], spec: SpikeSpec, intervalMs: number): readonly QcFlag[] {
  const beside = (i: number, j: number): number | null => {
    const a = rows[i]
    const b = rows[j]
    return !a || !b || longer(Math.abs(a.atMs - b.atMs), gapMs(intervalMs)) ? null : b.value
  }
  return values(rows, (x, i) => {
    const before = beside(i, i - 1)
    const after = beside(i, i + 1)
    return before === null || after === null ? 2 : spikeFlag(before, x, after, spec)
  })
}

/** Row number of the figure before row i, or -1. */
function figureBefore(rows: readonly Row[], i: number): number {
  let j = i - 1
  while (j >= 0 && rows[j]?.value === null) j--
  return j
}

/** Movement of each row from the figure before it; null for the first one, after a gap, and without a figure. */
export function movements(rows: readonly Row[], spread: SpreadSpec | null, intervalMs: number): readonly (Movement | null)[] {
  return rows.map((r, i) => {
    const last = rows[figureBefore(rows, i)]
    if (r.value === null || !last || last.value === null || longer(r.atMs - last.atMs, gapMs(intervalMs))) return null
    return { atMs: r.atMs, by: Math.abs(r.value - last.value), sd: spread && deviation(summaryOf(within(rows, i, spread.overMs).slice(0, -1)), spread.minSamples) }
  })
}

/** Figures of row i and of the rows before it inside the window of eighths (qartod-spans.ts). */
function within(rows: readonly Row[], i: number, overMs: number): readonly number[] {
  const last = spanOf(rows[i]?.atMs ?? 0, overMs)
  return rows.slice(0, i + 1).flatMap((r) => (r.value !== null && spanOf(r.atMs, overMs) > last - SPANS ? [r.value] : []))
}

function summaryOf(xs: readonly number[]): Summary {
  if (xs.length === 0) return NOTHING
  const mean = xs.reduce((a, x) => a + x, 0) / xs.length
  return { n: xs.length, mean, m2: xs.reduce((a, x) => a + (x - mean) ** 2, 0), min: Math.min(...xs), max: Math.max(...xs) }
}

export function rates(rows: readonly Row[], spec: RateSpec, spread: SpreadSpec | null, intervalMs: number): readonly QcFlag[] {
  const moved = movements(rows, spread, intervalMs)
  return values(rows, (_, i) => {
    const m = moved[i]
    const row = rows[i]
    if (!m || row?.value == null) return 2
    const from = spec.leastMs ? heldAgainst(anchorsBefore(rows, moved, i, spec.leastMs), row.atMs, spec.leastMs) : null
    if (from) return rateFlag(Math.abs(row.value - from.x), row.atMs - from.atMs, m.sd, spec)
    return rateFlag(m.by, m.atMs - (rows[figureBefore(rows, i)]?.atMs ?? 0), m.sd, spec)
  })
}

/** Anchors of the run of readings without a gap that ends before row i. */
function anchorsBefore(rows: readonly Row[], moved: readonly (Movement | null)[], i: number, spanMs: number): readonly Anchor[] {
  let anchors: readonly Anchor[] = []
  for (let j = 0; j < i; j++) {
    const r = rows[j]
    if (r?.value == null) continue
    if (!moved[j]) anchors = []
    anchors = anchored(anchors, { atMs: r.atMs, x: r.value }, spanMs)
  }
  return anchors
}

/** Rows not run, at a physical end, or beyond a hole start the watching anew. */
export function flatLine(rows: readonly CheckRow[], spec: FlatSpec, intervalMs: number): readonly QcFlag[] {
  const asleep = (r: CheckRow): boolean => (spec.runWhen !== null && r.runs !== true) || (r.value !== null && atEnd(r.value, spec.ends))
  const watched = (i: number): readonly { readonly atMs: number; readonly x: number }[] => {
    const out: { atMs: number; x: number }[] = []
    for (let j = i; j >= 0; j--) {
      const r = rows[j]
      const later = out[0]
      if (!r || asleep(r)) break
      if (r.value === null) continue
      if (later && longer(later.atMs - r.atMs, flatGapMs(spec, intervalMs))) break
      out.unshift({ atMs: r.atMs, x: r.value })
    }
    return out
  }
  return rows.map((r, i) => {
    if (r.value === null) return 9
    if (asleep(r)) return 2
    const seen = watched(i)
    const still = (fromMs: number): Stillness => {
      const xs = seen.filter((s) => s.atMs >= fromMs).map((s) => s.x)
      if (above(Math.max(...xs) - Math.min(...xs), spec.tol)) return 'moved'
      return xs.length < spec.minSamples || (seen[0]?.atMs ?? r.atMs) - intervalMs >= fromMs ? 'unknown' : 'still'
    }
    return flatFlag(spec, r.atMs, r.event ?? null, still)
  })
}

export function attenuated(rows: readonly Row[], spec: AttenuatedSpec): readonly QcFlag[] {
  const { overMs } = spec
  const all = summaryOf(rows.flatMap((r) => r.value ?? []))
  return values(rows, (_, i) => attenuatedFlag(overMs === null ? all : summaryOf(within(rows, i, overMs)), spec))
}

export function company(own: readonly (Movement | null)[], others: readonly (Movement | null | undefined)[], spec: CompanySpec, intervalMs: number): readonly (1 | 2 | 3)[] {
  return own.map((m, i) => companyFlag(m, others[i] ?? null, spec, gapMs(intervalMs)))
}

/** The summary over several tests of one series: the longest list sets the length, a flag that is absent counts for nothing. */
export const aggregateSeries = (tests: readonly (readonly QcFlag[])[]): readonly QcFlag[] =>
  Array.from({ length: Math.max(0, ...tests.map((t) => t.length)) }, (_, i) => aggregate(tests.flatMap((t) => t[i] ?? [])))

/** All tests of a spec, final flags. A figure outside the sensor's range is no figure to the other tests: 2 for itself, null for its neighbours. */
export function checkSeries(rows: readonly CheckRow[], spec: CheckSpec): readonly TestFlags[] {
  rows.forEach((r, i) => {
    const last = rows[i - 1]
    if (last && last.atMs >= r.atMs) throw new RangeError(`row ${i + 1} is of ${r.atMs}, not after the one before it (${last.atMs}): sort by time and drop repeats`)
  })
  const gross = grossRange(rows, spec.gross)
  const sane = rows.map((r, i) => (gross[i] === 4 ? { ...r, value: null } : r))
  const moved = movements(sane, spec.spread, spec.intervalMs)
  const results = [
    ['spike', spec.spike && spikes(sane, spec.spike, spec.intervalMs)],
    ['rate', spec.rate && rates(sane, spec.rate, spec.spread, spec.intervalMs)],
    ['flat', spec.flat && flatLine(sane, spec.flat, spec.intervalMs)],
    ['attenuated', spec.attenuated && attenuated(sane, spec.attenuated)],
    [
      'multivariate',
      spec.multivariate &&
        company(
          moved,
          rows.map((r) => r.partner),
          spec.multivariate,
          spec.intervalMs,
        ),
    ],
    [
      'neighbour',
      spec.neighbour &&
        company(
          moved,
          rows.map((r) => r.second),
          spec.neighbour,
          spec.intervalMs,
        ),
    ],
  ] as const
  return rows.map((r, i) => {
    let tests = withFlag(0, 'gross', gross[i] ?? 9)
    for (const [name, flags] of results) if (flags) tests = withFlag(tests, name, r.value === null ? 9 : gross[i] === 4 ? 2 : (flags[i] ?? 2))
    return tests
  })
}
