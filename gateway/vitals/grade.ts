/**
 * How far a figure can be believed, and how that passes through a computation: never better than the worst of what went in.
 */
import type { QcFlag, Quality, QualitySub, Reading } from '../site/reading.ts'

export interface Grade {
  readonly quality: Quality
  readonly sub: QualitySub
  readonly qc: QcFlag
}

export const GOOD: Grade = { quality: 'good', sub: 'ok', qc: 1 }
export const NOTHING: Grade = { quality: 'bad', sub: 'missing', qc: 9 }

const RANK: Readonly<Record<Quality, number>> = { good: 0, uncertain: 1, bad: 2 }
/** Not evaluated counts as less than passed; missing less than suspect, more than failed. */
const QC_RANK: Readonly<Record<QcFlag, number>> = { 1: 0, 2: 1, 3: 2, 9: 3, 4: 4 }

export const rank = (q: Quality): number => RANK[q]

/** The worse of two; the reason goes with the worse quality. */
export function worse(a: Grade, b: Grade): Grade {
  if (a === b || (a.quality === b.quality && a.qc === b.qc)) return a
  const lead = RANK[b.quality] > RANK[a.quality] ? b : a
  const qc = QC_RANK[b.qc] > QC_RANK[a.qc] ? b.qc : a.qc
  return lead.qc === qc ? lead : { ...lead, qc }
}

export const worst = (all: readonly (Grade | null)[]): Grade => all.reduce<Grade>((w, g) => (g ? worse(w, g) : w), GOOD)

/** Grades are few and shared: a reading's own object would keep the reading. */
const known = new Map<string, Grade>()
export function gradeOf(r: Pick<Reading, 'quality' | 'sub' | 'qc'>): Grade {
  if (r.quality === 'good' && r.sub === 'ok' && r.qc === 1) return GOOD
  const key = `${r.quality} ${r.sub} ${r.qc}`
  let g = known.get(key)
  if (!g) known.set(key, (g = { quality: r.quality, sub: r.sub, qc: r.qc }))
  return g
}

/** A figure that stands on something assumed is at best uncertain. */
export const doubted = (g: Grade, sub: QualitySub = 'not_accurate'): Grade => (RANK[g.quality] >= 1 ? g : { quality: 'uncertain', sub, qc: g.qc })
