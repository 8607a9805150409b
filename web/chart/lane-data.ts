/** All that a lane shows. */
import type { Laid } from '../state/course.ts'
import type { Line } from '../state/trend.ts'
import type { Tick } from '../state/time-ticks.ts'
import type { ChartColours } from './colours.ts'

export interface LaneSeries extends Line {
  readonly name: string
  readonly colour: string
  readonly dash: readonly number[]
  /** The same signal at another time or of another loop: a thin line without tint. */
  readonly beside: boolean
}

/** What one series did over the span, in its colour. */
export interface LaneCourse extends Laid {
  readonly colour: string
}

export interface LaneData {
  readonly fromMs: number
  readonly toMs: number
  readonly series: readonly LaneSeries[]
  readonly limits: readonly { readonly value: number; readonly text: string }[]
  /** What is usual, drawn under everything. */
  readonly bands: readonly { readonly low: number; readonly high: number }[]
  readonly gaps: readonly { readonly fromMs: number; readonly toMs: number; readonly why: string }[]
  readonly courses: readonly LaneCourse[]
  readonly ticks: readonly Tick[]
  readonly colours: ChartColours
}
