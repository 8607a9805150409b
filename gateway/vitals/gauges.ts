/** Tanks whose level is measured and whose volume is known: litres from per cent. */
import { volumeOfPctL } from '../process/tank-level.ts'
import type { Stage } from '../site/site.ts'
import { levelOf } from './places.ts'
import type { Slot } from './slots.ts'
import type { Works } from './works.ts'

/** Foam, bubbles and waves under a level head, share of the tank, standard deviation. Common practice, no source. */
export const LEVEL_SHARE = 0.01

/** Litres at a level, by the shape where it is known. */
function litresOf(stage: Stage): ((pct: number) => number) | null {
  const clamp = (pct: number): number => Math.min(120, Math.max(0, pct))
  const { tank, volumeL } = stage
  if (tank) return (pct) => volumeOfPctL(tank, clamp(pct))
  return volumeL === null ? null : (pct) => (clamp(pct) / 100) * volumeL
}

export interface Gauge {
  readonly stage: Stage
  readonly slot: Slot
  readonly litres: (pct: number) => number
  readonly volumeL: number
}

export function gaugesOf(w: Works): readonly Gauge[] {
  return w.site.stages.flatMap((stage) => {
    const level = levelOf(w.site, stage)
    const litres = litresOf(stage)
    return level && litres && stage.volumeL !== null ? [{ stage, slot: w.slot(level), litres, volumeL: stage.volumeL }] : []
  })
}
