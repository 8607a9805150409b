/** What the yard page says of one loop, before it is put into words: plain facts out of the gateway. */
import { doNotWash, type WashVerdict } from '../../gateway/alarms/do-not-wash.ts'
import type { EntryBlock } from '../../gateway/alarms/entry-block.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import type { GatewayPort, SiteState } from '../../gateway/port.ts'
import { hazardsOf, type Caution } from '../../gateway/site/cautions.ts'
import { isStale, valueNow } from '../bodies/freshness.ts'
import { loopBodyOf, waterRuleOf } from '../bodies/loop.ts'
import { levelSignal } from '../bodies/water.ts'

/** Finished water, as far as this loop can tell it. Times are when it was read. */
export type YardWater =
  | { readonly kind: 'minutes'; readonly minutes: number; readonly doubtful: boolean; readonly atMs: number }
  /** A level, but not how much that is. */
  | { readonly kind: 'level'; readonly pct: number; readonly doubtful: boolean; readonly atMs: number }
  /** Only a float that says whether there is still some. */
  | { readonly kind: 'float'; readonly low: boolean; readonly atMs: number }
  /** It is measured, and there is no figure that may be shown; null: never heard. */
  | { readonly kind: 'not-known'; readonly atMs: number | null }
  | { readonly kind: 'not-measured' }

export interface YardView {
  readonly site: string
  readonly name: string
  readonly zone: string
  readonly nowMs: number
  readonly heardMs: number | null
  readonly silent: boolean
  /** Nobody is called for alarms of this loop. */
  readonly outOfContract: boolean
  readonly water: YardWater
  readonly verdict: WashVerdict
  readonly block: EntryBlock | null
  readonly carePhone: string | null
  readonly yardPhone: string | null
  readonly hazards: readonly Caution[]
  /** What was reported by the sign lately, newest first. */
  readonly reports: readonly LogEntry[]
}

/** Name under which the sign writes into the site log. */
export const BY_SIGN = 'yard, by the sign'
const REPORTS_MS = 12 * 3_600_000
const REPORTS = 5

/** null: no such loop. */
export async function yardView(gateway: GatewayPort, site: string, nowMs: number): Promise<YardView | null> {
  const state = gateway.site(site)
  const loopState = gateway.loopState(site)
  if (!state || !loopState) return null
  const alarms = gateway.alarmsOf(site)
  const loop = loopBodyOf(state, [], waterRuleOf(alarms), nowMs, loopState)
  const water = waterOf(state, loop.waterMin, nowMs)
  const block = gateway.entryBlock(site)
  const log = await gateway.log.list({ site, fromMs: nowMs - REPORTS_MS, toMs: nowMs + 1, limit: 200 })
  return {
    site,
    name: state.site.name,
    zone: state.site.zone,
    nowMs,
    heardMs: state.heardMs,
    silent: state.silent,
    outOfContract: loopState.now.life.state === 'out-of-contract',
    water,
    verdict: doNotWash({ site: state.site, alarms, block, state: loopState.now, waterMin: water.kind === 'minutes' ? water.minutes : null }),
    block,
    carePhone: state.site.carePhone ?? null,
    yardPhone: state.site.yardPhone,
    hazards: hazardsOf(state.site),
    reports: log.filter((e) => e.by === BY_SIGN).slice(0, REPORTS),
  }
}

export function waterOf(state: SiteState, minutes: number | null, nowMs: number): YardWater {
  const level = levelSignal(state.site, 'finished')
  if (level) {
    const reading = state.latest.get(level.id)
    const pct = valueNow(state, level, nowMs)
    if (!reading || pct === null) return { kind: 'not-known', atMs: reading?.sourceMs ?? null }
    const doubtful = reading.quality !== 'good'
    return minutes === null ? { kind: 'level', pct, doubtful, atMs: reading.sourceMs } : { kind: 'minutes', minutes, doubtful, atMs: reading.sourceMs }
  }
  const tanks = state.site.stages.filter((s) => s.kind === 'finished').map((s) => s.id)
  const float = state.site.signals.find((s) => s.quantity === 'float' && s.at !== null && tanks.includes(s.at) && s.id.endsWith('.low'))
  if (!float) return { kind: 'not-measured' }
  const reading = state.latest.get(float.id)
  const value = valueNow(state, float, nowMs)
  return !reading || value === null || isStale(float, reading, nowMs)
    ? { kind: 'not-known', atMs: reading?.sourceMs ?? null }
    : { kind: 'float', low: value === 0, atMs: reading.sourceMs }
}
