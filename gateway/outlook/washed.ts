/** How much is washed, day by day and hour by hour, from the best a loop has: its meter, else litres of the lance while the washer runs ("at most"). */
import type { Signal, Site } from '../site/site.ts'
import { lanceOf, washerSignal } from '../vitals/places.ts'
import { byDay, counted } from './day-amounts.ts'
import type { StoredLoop } from './stored.ts'

const HOUR_MS = 3_600_000

export interface Washed {
  readonly signal: Signal
  /** m3 of each whole day. */
  readonly m3: readonly (number | null)[]
  /** L of each stored hour; null: not known. */
  readonly hourL: readonly (number | null)[] | null
  /** The contact counts the time between pulls of the trigger too. */
  readonly atMost: boolean
}

/** The signal that tells the washing; null: nothing does. */
export function washSignal(site: Site): { readonly signal: Signal; readonly by: 'meter' | 'contact' } | null {
  const meter = washerSignal(site, 'volume')
  if (meter) return { signal: meter, by: 'meter' }
  const run = washerSignal(site, 'run')
  return run && lanceOf(site) !== null ? { signal: run, by: 'contact' } : null
}

export function washedOf(s: StoredLoop): Washed | null {
  const found = washSignal(s.site)
  if (!found) return null
  const { signal, by } = found
  const hours = s.hours.get(signal.id) ?? []
  if (by === 'contact') {
    const lPerH = 60 * (lanceOf(s.site) ?? 0)
    // One mean an hour serves to tell washing from rest; how much a day washed comes from the contact itself.
    const hourL = hours.map((h) => (h.mean === null ? null : h.mean * lPerH))
    return { signal, m3: (s.runHours.get(signal.id) ?? []).slice(0, s.days.length).map((h) => (h === null ? null : (h * lPerH) / 1000)), hourL, atMost: true }
  }
  const litres = signal.unit === 'm3' ? 1000 : 1
  const all = counted(signal, hours, s.log)
  const spans = hours.map((h) => ({ fromMs: h.fromMs, toMs: h.fromMs + HOUR_MS }))
  return { signal, m3: byDay(all, s.days).map((v) => (v === null ? null : (v * litres) / 1000)), hourL: inHours(all, spans, litres), atMost: false }
}

/** Linear in both, where byDay() would look at all increments for every hour. */
function inHours(all: ReturnType<typeof counted>, spans: readonly { readonly fromMs: number; readonly toMs: number }[], litres: number): (number | null)[] {
  const out: (number | null)[] = spans.map(() => null)
  const first = spans[0]?.fromMs ?? 0
  for (const i of all) {
    if (i.atMs - i.fromMs > 3 * HOUR_MS && i.by > 0) continue
    const to = Math.floor((i.atMs - first) / HOUR_MS)
    for (let k = Math.max(0, Math.floor((i.fromMs - first) / HOUR_MS)); k < to && k < out.length; k += 1) out[k] ??= 0
    if (to >= 0 && to < out.length) out[to] = (out[to] ?? 0) + i.by * litres
  }
  return out
}
