/** How much water is left to wash with. */
import type { SiteState } from '../../gateway/port.ts'
import type { Signal, Site, StageKind } from '../../gateway/site/site.ts'
import { valueNow } from './freshness.ts'

/** The level in per cent of the first stage of a kind, when the site measures it. */
export function levelSignal(site: Site, kind: StageKind): Signal | undefined {
  const stages = site.stages.filter((s) => s.kind === kind).map((s) => s.id)
  return site.signals.find((s) => s.quantity === 'level' && s.unit === '%' && s.at !== null && stages.includes(s.at))
}

export interface WaterUse {
  readonly volumeL: number
  readonly lanceLPerMin: number
  /** Level at which the pump draws air, per cent. */
  readonly emptyPct: number
}

/** Minutes of washing in the tank at a level in per cent; 0 when it stands below `emptyPct`. */
export const minutesLeft = (levelPct: number, use: WaterUse): number => Math.max(0, ((levelPct - use.emptyPct) / 100) * use.volumeL) / use.lanceLPerMin

/** Volume of the finished-water tank and use of the lance as the site file gives them; null when one of them is missing. */
export function waterUse(site: Site): WaterUse | null {
  const volumeL = site.stages.find((s) => s.kind === 'finished')?.volumeL ?? null
  const lanceLPerMin = site.stages.find((s) => s.kind === 'washer')?.lanceLPerMin ?? null
  return volumeL === null || lanceLPerMin === null ? null : { volumeL, lanceLPerMin, emptyPct: 0 }
}

export const levelNow = (state: SiteState, kind: StageKind, nowMs: number): number | null => valueNow(state, levelSignal(state.site, kind), nowMs)
