/** All that a lane shows. */
import type { Line } from '../state/trend.ts'
import type { Tick } from '../state/time-ticks.ts'
import type { ChartColours } from './colours.ts'

export interface LaneSeries extends Line {
  readonly name: string
  readonly colour: string
  readonly dash: readonly number[]
}

export interface LaneData {
  readonly fromMs: number
  readonly toMs: number
  readonly series: readonly LaneSeries[]
  readonly limits: readonly { readonly value: number; readonly text: string }[]
  readonly gaps: readonly { readonly fromMs: number; readonly toMs: number; readonly why: string }[]
  readonly ticks: readonly Tick[]
  readonly colours: ChartColours
}
