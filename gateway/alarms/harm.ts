/**
 * When harm is due if nobody acts, by what an alarm threatens: the low end, with what it rests on. An interval that is not known has its low end
 * from the table, and no high end.
 */
import { within, type Site } from '../site/site.ts'
import type { AlarmDef } from './alarm.ts'

/** people, release: never lowered by the wake rule. septic: the biology without air. washing: somebody on the pad cannot go on. blind: nothing is known. respond: the time its record gives. */
export type Threat = 'people' | 'release' | 'septic' | 'washing' | 'blind' | 'respond'

/** What an alarm threatens first, from its rule and its record. */
export function threatOf(def: Pick<AlarmDef, 'rule' | 'class' | 'severity' | 'id' | 'site'>): Threat {
  const key = def.id.slice(def.site.length + 1)
  if (def.class === 'safety') return 'people'
  if (def.rule.kind === 'silent' || def.rule.kind === 'blind') return 'blind'
  if (def.class === 'environment' && def.severity === 'severe') return 'release'
  if (def.rule.kind === 'no-air' || key.endsWith('.absent') || key.endsWith('.do.low-low') || key === 'site.power-check') return 'septic'
  if (def.rule.kind === 'water-left' || /\.(dry|tripped|reached)$/.test(key)) return 'washing'
  return 'respond'
}

/** What is known of a tank without air, minutes and hours, low end first; null: nothing. */
export interface AirFacts {
  /** Minutes until oxygen is short from now on, as the vital tells it. */
  readonly toShortMin: { readonly low: number; readonly high: number | null } | null
  /** Water temperature, Cel. */
  readonly celsius: number | null
}

export interface Harm {
  readonly lowMs: number
  readonly highMs: number | null
  /** Ends the sentence "Harm is reckoned from ...". */
  readonly from: string
}

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
/** Aerated tanks of such loops are without oxygen in 5 min to 15 h (arithmetic on a reference loop). */
const SHORTEST_MIN = 5
/** Odour 8 h after oxygen has gone at 25 Cel, twice as long for every 10 Cel less; a third of it sooner. Common practice, no source. */
const ODOUR_25_H = 8
const ODOUR_SPREAD = 1.5
/** Taken where no temperature is known. */
const WARM_CEL = 25

const odourH = (celsius: number): number => ODOUR_25_H * 2 ** ((WARM_CEL - Math.min(40, Math.max(0, celsius))) / 10)

/** The next moment the yard opens, at most a week ahead; `nowMs`: it is open, or its hours are not written down. */
export function nextOpen(spans: Site['open'], zone: string, nowMs: number): number {
  if (within(spans, zone, nowMs, true)) return nowMs
  // Opening hours are in whole minutes of the wall clock; quarter hours first, then the minute.
  const from = Math.floor(nowMs / (15 * MIN)) * 15 * MIN
  for (let at = from; at <= nowMs + 8 * DAY; at += 15 * MIN) {
    if (at <= nowMs || !within(spans, zone, at, true)) continue
    let first = at
    while (first - MIN > nowMs && within(spans, zone, first - MIN, true)) first -= MIN
    return first
  }
  return nowMs + 8 * DAY
}

export interface HarmQuestion {
  readonly threat: Threat
  /** Event time of the beginning: the raise, or when the loop or the signal was last heard. */
  readonly sinceMs: number
  readonly nowMs: number
  readonly respondWithinMin: number
  readonly air: AirFacts
  readonly site: Pick<Site, 'open' | 'zone'>
  /** Low end of the former judgement of this occurrence: once oxygen is gone the clock of the smell does not begin anew. */
  readonly beforeLowMs: number | null
}

/** gives the harm of one standing alarm */
export function harmOf(q: HarmQuestion): Harm {
  const { sinceMs, nowMs, respondWithinMin, air, site } = q
  const responded = { lowMs: sinceMs + respondWithinMin * MIN, highMs: null }
  switch (q.threat) {
    case 'people':
    case 'release':
    case 'respond':
      return { ...responded, from: `the time to respond of its record, ${respondWithinMin} min` }
    case 'septic':
    case 'blind': {
      const warm = air.celsius === null
      const odour = odourH(air.celsius ?? WARM_CEL)
      const short = air.toShortMin
      // The vital counts from now while oxygen is still there; blind, it was as good as then and may have fallen since.
      const left = q.threat === 'septic' && short !== null && short.low > 0
      if (q.threat === 'septic' && short?.low === 0 && q.beforeLowMs !== null)
        return { lowMs: q.beforeLowMs, highMs: null, from: 'oxygen is short already; the time of the smell was reckoned before' }
      const startMs = left ? nowMs : sinceMs
      const lowMin = short?.low ?? SHORTEST_MIN
      const at = warm ? `${WARM_CEL} °C, because no temperature is known` : `${Math.round(air.celsius ?? WARM_CEL)} °C`
      return {
        lowMs: startMs + lowMin * MIN + (odour / ODOUR_SPREAD) * HOUR,
        highMs: short?.high == null ? null : startMs + short.high * MIN + odour * ODOUR_SPREAD * HOUR,
        from: `${short === null ? `no uptake measured on this loop: ${SHORTEST_MIN} min, the shortest of such tanks` : `${Math.round(lowMin)} min until oxygen is short`}, then ${(odour / ODOUR_SPREAD).toFixed(1)} h until odour is likely at ${at}`,
      }
    }
    case 'washing': {
      const opensMs = nextOpen(site.open, site.zone, Math.max(sinceMs, nowMs))
      return opensMs <= nowMs
        ? { ...responded, from: `the time to respond of its record, ${respondWithinMin} min: the yard may be washing` }
        : { lowMs: opensMs, highMs: null, from: 'the next opening of the yard: nobody washes before' }
    }
  }
}
