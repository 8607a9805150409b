/** A trend as data: its span, its lanes by unit, and where nothing was heard. Pure. */
import type { HistoryBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { offset } from '../words/times.ts'
import { guests, signalsIn } from './trend-view.ts'

export const SPANS = [
  ['1 h', 3_600_000],
  ['8 h', 8 * 3_600_000],
  ['24 h', 24 * 3_600_000],
  ['7 d', 7 * 86_400_000],
  ['30 d', 30 * 86_400_000],
] as const

export interface Span {
  readonly fromMs: number
  readonly toMs: number
}

export type Move = 'earlier' | 'later' | 'closer' | 'wider'

/** Half a span earlier or later, or half as wide, or twice about `aboutMs`, which keeps its place. `later` stops at the present. */
export function moved(s: Span, how: Move, nowMs: number, aboutMs = (s.fromMs + s.toMs) / 2): Span {
  const width = s.toMs - s.fromMs
  if (how === 'earlier') return { fromMs: s.fromMs - width / 2, toMs: s.toMs - width / 2 }
  if (how === 'later') {
    const by = Math.min(width / 2, Math.max(0, nowMs - s.toMs))
    return { fromMs: s.fromMs + by, toMs: s.toMs + by }
  }
  const next = how === 'closer' ? Math.max(60_000, width / 2) : width * 2
  const toMs = Math.min(nowMs, aboutMs + (next * (s.toMs - aboutMs)) / width)
  return { fromMs: toMs - next, toMs }
}

/** Signals asked for by id, `<loop>/<signal>` for one of another loop; without one that exists, what tells most about the loop. */
export function chosen(loop: LoopDetailBody, asked: readonly string[], others: ReadonlyMap<string, LoopDetailBody> = new Map()): readonly SignalBody[] {
  const known = signalsIn(asked, loop, others)
  if (known.length > 0 || guests(asked, loop.id).some((site) => !others.has(site))) return known
  const usual = ['do', 'ph', 'orp', 'level', 'pressure'].flatMap((q) => loop.signals.find((s) => s.quantity === q) ?? [])
  const run = loop.signals.filter((s) => s.quantity === 'run').slice(0, 4)
  return usual.length + run.length > 0 ? [...usual, ...run] : loop.signals.slice(0, 6)
}

const USUAL_MS = 8 * 3_600_000
const LEAST_MS = 60_000

/** The span an address asks for. Without an end it follows the present, stepping by one span of the drawing. */
export function spanOf(query: URLSearchParams, nowMs: number, points: number): { readonly span: Span; readonly follows: boolean } {
  const number = (name: string): number => {
    const v = Number(query.get(name) ?? '')
    return Number.isFinite(v) && v > 0 ? v : 0
  }
  const toMs = number('to')
  const fromMs = number('from')
  if (toMs > 0) return { span: { fromMs: fromMs > 0 && toMs - fromMs >= LEAST_MS ? fromMs : toMs - USUAL_MS, toMs }, follows: false }
  const width = Math.max(LEAST_MS, number('span') || USUAL_MS)
  const step = Math.max(5_000, width / points)
  const end = Math.ceil(nowMs / step) * step
  return { span: { fromMs: end - width, toMs: end }, follows: true }
}

/** `UTC+1`, or both where the clock changes inside the span: `UTC+2, then UTC+1`. */
export function zoneWords(s: Span, zone: string): string {
  const [first, last] = [offset(s.fromMs, zone), offset(s.toMs, zone)]
  return first === last ? last : `${first}, then ${last}`
}

/** Most lines and most bars on one page; a ninth colour would be no colour. */
export const MOST_LINES = 8

export interface LanePlan {
  readonly unit: string
  readonly signals: readonly SignalBody[]
}

/** Analogue and counted signals share a lane when they share quantity and unit; states become bars below. At most eight lines in all. */
export function lanes(signals: readonly SignalBody[]): { readonly lanes: readonly LanePlan[]; readonly bars: readonly SignalBody[] } {
  const by = new Map<string, SignalBody[]>()
  for (const s of signals.filter((x) => x.kind !== 'state').slice(0, 8)) {
    const key = `${s.quantity}|${s.unit}`
    by.set(key, [...(by.get(key) ?? []), s])
  }
  return { lanes: [...by.values()].map((all) => ({ unit: all[0]?.unitText ?? '', signals: all })), bars: signals.filter((s) => s.kind === 'state').slice(0, MOST_LINES) }
}

export interface Silence {
  readonly fromMs: number
  readonly toMs: number
  readonly why: string
}

/** Runs of spans without a figure, longer than three reports; rejected when readings came but none was usable. */
export function silences(h: HistoryBody, reportEveryMs: number): readonly Silence[] {
  const out: Silence[] = []
  let from = -1
  let bad = 0
  const close = (i: number): void => {
    if (from < 0) return
    const fromMs = h.at[from] ?? h.fromMs
    const toMs = h.at[i] ?? h.toMs
    const lasted = toMs - fromMs
    if (lasted > 3 * reportEveryMs && lasted > h.bucketMs) out.push({ fromMs, toMs, why: bad > 0 ? 'rejected' : 'nothing heard' })
    from = -1
    bad = 0
  }
  h.count.forEach((n, i) => {
    if (n === 0) {
      if (from < 0) from = i
      bad += h.bad[i] ?? 0
    } else close(i)
  })
  close(h.at.length)
  return out
}

export interface Line {
  readonly at: readonly number[]
  /** Means of spans that hold good readings only; null breaks the line. */
  readonly mean: readonly (number | null)[]
  /** Means of spans with a doubtful reading, and of their neighbours, so that the two lines meet. */
  readonly doubtful: readonly (number | null)[]
  readonly min: readonly (number | null)[]
  readonly max: readonly (number | null)[]
}

/** Spans shorter than the report interval are empty by nature: drop them so that a line is a line. A longer hole becomes a null. */
export function thinned(h: HistoryBody, reportEveryMs: number): Line {
  const at: number[] = []
  const mean: (number | null)[] = []
  const min: (number | null)[] = []
  const max: (number | null)[] = []
  const doubted: boolean[] = []
  let lastMs = Number.NEGATIVE_INFINITY
  for (let i = 0; i < h.at.length; i++) {
    const t = (h.at[i] ?? 0) + h.bucketMs / 2
    if ((h.count[i] ?? 0) === 0) continue
    if (at.length > 0 && t - lastMs > Math.max(3 * reportEveryMs, 1.5 * h.bucketMs)) {
      at.push(lastMs + 1)
      for (const column of [mean, min, max]) column.push(null)
      doubted.push(false)
    }
    at.push(t)
    mean.push(h.mean[i] ?? null)
    min.push(h.min[i] ?? null)
    max.push(h.max[i] ?? null)
    doubted.push(h.worst[i] === 'uncertain')
    lastMs = t
  }
  const near = (i: number): boolean => doubted[i - 1] === true || doubted[i] === true || doubted[i + 1] === true
  return { at, mean: mean.map((v, i) => (doubted[i] ? null : v)), doubtful: mean.map((v, i) => (near(i) ? v : null)), min, max }
}

/** Share of the time that has readings, percent. */
export function coverage(h: HistoryBody, reportEveryMs: number): number {
  const lost = silences(h, reportEveryMs).reduce((sum, s) => sum + (s.toMs - s.fromMs), 0)
  const whole = h.toMs - h.fromMs
  return whole <= 0 ? 0 : Math.max(0, Math.min(100, (100 * (whole - lost)) / whole))
}

/** Readings as comma-separated text, times with their offset; text that a spreadsheet would run is disarmed. */
export function csv(all: readonly { readonly signal: SignalBody; readonly history: HistoryBody }[], iso: (ms: number) => string): string {
  const safe = (t: string): string => `"${(/^[=+\-@\t]/.test(t) ? `'${t}` : t).replaceAll('"', '""')}"`
  const rows = ['time,signal,name,unit,mean,min,max,readings,bad']
  for (const { signal: s, history: h } of all) {
    h.at.forEach((ms, i) => {
      if ((h.count[i] ?? 0) + (h.bad[i] ?? 0) === 0) return
      rows.push([iso(ms), safe(s.id), safe(s.name), safe(s.unit), h.mean[i] ?? '', h.min[i] ?? '', h.max[i] ?? '', h.count[i] ?? 0, h.bad[i] ?? 0].join(','))
    })
  }
  return `${rows.join('\r\n')}\r\n`
}
