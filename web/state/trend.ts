/** A trend as data: its span, its lanes by unit, and where nothing was heard. Pure. */
import type { HistoryBody, SignalBody } from '../../server/wire.ts'

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

/** Half a span earlier or later, or half as wide, or twice. `later` stops at the present. */
export function moved(s: Span, how: 'earlier' | 'later' | 'closer' | 'wider', nowMs: number): Span {
  const width = s.toMs - s.fromMs
  if (how === 'earlier') return { fromMs: s.fromMs - width / 2, toMs: s.toMs - width / 2 }
  if (how === 'later') {
    const by = Math.min(width / 2, Math.max(0, nowMs - s.toMs))
    return { fromMs: s.fromMs + by, toMs: s.toMs + by }
  }
  const next = how === 'closer' ? Math.max(60_000, width / 2) : width * 2
  const middle = (s.fromMs + s.toMs) / 2
  const toMs = Math.min(nowMs, middle + next / 2)
  return { fromMs: toMs - next, toMs }
}

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
  return { lanes: [...by.values()].map((all) => ({ unit: all[0]?.unitText ?? '', signals: all })), bars: signals.filter((s) => s.kind === 'state').slice(0, 8) }
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

/** Spans shorter than the report interval are empty by nature: drop them so that a line is a line. */
export function thinned(
  h: HistoryBody,
  reportEveryMs: number,
): { readonly at: number[]; readonly mean: (number | null)[]; readonly min: (number | null)[]; readonly max: (number | null)[] } {
  const at: number[] = []
  const mean: (number | null)[] = []
  const min: (number | null)[] = []
  const max: (number | null)[] = []
  let lastMs = Number.NEGATIVE_INFINITY
  for (let i = 0; i < h.at.length; i++) {
    const t = (h.at[i] ?? 0) + h.bucketMs / 2
    if ((h.count[i] ?? 0) > 0) {
      if (t - lastMs > Math.max(3 * reportEveryMs, 1.5 * h.bucketMs) && at.length > 0) {
        at.push(lastMs + 1, t - 1)
        mean.push(null, null)
        min.push(null, null)
        max.push(null, null)
      }
      at.push(t)
      mean.push(h.mean[i] ?? null)
      min.push(h.min[i] ?? null)
      max.push(h.max[i] ?? null)
      lastMs = t
    }
  }
  return { at, mean, min, max }
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
