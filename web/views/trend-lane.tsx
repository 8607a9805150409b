/** One lane: names, lines' samples and figures in the gutter on the left, the drawing beside it. */
import { type Signal } from '@preact/signals'
import { useMemo } from 'preact/hooks'
import type { HistoryBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { colours, dashOf, type ChartColours } from '../chart/colours.ts'
import type { LaneData } from '../chart/lane-data.ts'
import { LaneView } from '../chart/lane-view.tsx'
import { laid } from '../state/course.ts'
import { now, values } from '../state/store.ts'
import type { Tick } from '../state/time-ticks.ts'
import { meanAt } from '../state/then.ts'
import { silences, thinned, type Span } from '../state/trend.ts'
import { shown } from '../state/freshness.ts'
import { figure } from '../words/numbers.ts'
import { CourseWords, type Courses } from './trend-course.tsx'
import type { Band, Trends } from './trend-data.ts'

/** All that the lanes of a view are drawn from. */
export interface Drawn {
  readonly trends: Trends
  /** The other period or loop; empty: nothing is compared. */
  readonly beside: Trends
  readonly besideName: string
  /** Empty: not asked for. */
  readonly courses: Courses
  readonly bands: ReadonlyMap<string, Band>
  readonly span: Span
  readonly ticks: readonly Tick[]
}

interface Props {
  readonly signals: readonly SignalBody[]
  readonly drawn: Drawn
  readonly loop: LoopDetailBody
  readonly cursor: Signal<number | null>
  readonly onZoom: (fromMs: number, toMs: number) => void
}

const NOTHING = { at: [], mean: [], doubtful: [], min: [], max: [] }

/** A lane as its chart takes it, in the given colours. */
export function laneOf(signals: readonly SignalBody[], { trends, beside, besideName, courses, bands, span, ticks }: Drawn, ink: ChartColours): LaneData {
  const first = signals[0]
  const h = first && trends.get(first.id)
  // Water alone in its lane takes the colour it has everywhere.
  const water = signals.length === 1 && first?.quantity === 'level'
  const colourOf = (i: number): string => ink.series[water ? 4 : i] ?? ink.ink
  const lines = (from: Trends, name: (s: SignalBody) => string, other: boolean): LaneData['series'] =>
    signals.flatMap((s, i) => {
      const of = from.get(s.id)
      if (other && !of) return []
      return [{ name: name(s), colour: colourOf(i), dash: water ? [] : dashOf(i), beside: other, ...(of ? thinned(of, s.reportEveryMs) : NOTHING) }]
    })
  return {
    fromMs: span.fromMs,
    toMs: span.toMs,
    series: [...lines(trends, (s) => s.name, false), ...lines(beside, (s) => `${s.name}, ${besideName}`, true)],
    limits: limitsOf(signals),
    bands: signals.flatMap((s) => bands.get(s.id) ?? []),
    gaps: first && h ? silences(h, first.reportEveryMs) : [],
    courses: signals.flatMap((s, i) => {
      const of = courses.get(s.id)
      const line = of ? laid(of) : null
      return line ? [{ ...line, colour: colourOf(i) }] : []
    }),
    ticks,
    colours: ink,
  }
}

const HEIGHTS = [124, 124, 168, 212] as const
export const laneHeight = (signals: readonly SignalBody[]): number => HEIGHTS[signals.length] ?? 248

export function LaneRow({ signals, drawn, loop, cursor, onZoom }: Props) {
  const ink = colours.value
  const { trends, beside, besideName, courses, bands } = drawn
  const lane = useMemo<LaneData>(() => laneOf(signals, drawn, ink), [signals, drawn, ink])
  return (
    <div class="laneRow">
      <div class="gutter">
        {signals.map((s, i) => {
          const line = lane.series[i]
          const band = bands.get(s.id)
          const other = beside.get(s.id)
          return (
            <div key={s.id} class="key">
              <b>{s.name}</b>
              <p>
                <svg width="24" height="6" aria-hidden="true">
                  <path class="keyLine" d="M0 3H24" stroke={line?.colour} stroke-dasharray={line?.dash.join(' ')} />
                </svg>
                <FigureAt signal={s} history={trends.get(s.id)} cursor={cursor} /> <span class="mute">{s.unitText}</span>
              </p>
              {other && (
                <p class="other">
                  <svg width="24" height="6" aria-hidden="true">
                    <path class="keyLine thin" d="M0 3H24" stroke={line?.colour} stroke-dasharray="4 3" />
                  </svg>
                  <BesideAt signal={s} history={other} cursor={cursor} /> {besideName}
                </p>
              )}
              {band && (
                <p class="other">
                  usual {figure(band.low, s.digits)} to {figure(band.high, s.digits)}
                </p>
              )}
            </div>
          )
        })}
      </div>
      <LaneView data={lane} height={laneHeight(signals)} cursor={cursor} onZoom={onZoom} />
      <CourseWords signals={signals} courses={courses} loop={loop} />
    </div>
  )
}

/** Signals of one lane often share their limits: each value is one line. */
function limitsOf(signals: readonly SignalBody[]): LaneData['limits'] {
  const by = new Map<string, { value: number; text: string }>()
  for (const s of signals) for (const l of s.limits) by.set(`${l.name} ${l.value}`, { value: l.value, text: `${l.name} ${figure(l.value, s.digits)}` })
  return [...by.values()]
}

/** Figure at the cursor, or the newest one. Where there is no reading there is a dash. It alone follows the cursor; the lane does not. */
function FigureAt({ signal: s, history: h, cursor }: { signal: SignalBody; history: HistoryBody | undefined; cursor: Signal<number | null> }) {
  if (cursor.value !== null) {
    const v = h ? meanAt(h, cursor.value, s.reportEveryMs) : null
    return <span class="rv">{v === null ? '–' : figure(v, s.digits)}</span>
  }
  const told = h && values.value.get(h.site)?.get(h.signal)
  const v = shown(told ? { ...s, value: told[1], quality: told[2], sub: told[3], sourceMs: told[4] } : s, now.value)
  return <span class={`rv val ${v.kind}`}>{v.text}</span>
}

/** The other line at the cursor; without one there is nothing to say. */
function BesideAt({ signal: s, history: h, cursor }: { signal: SignalBody; history: HistoryBody; cursor: Signal<number | null> }) {
  if (cursor.value === null) return null
  const v = meanAt(h, cursor.value, s.reportEveryMs)
  return <b>{v === null ? '–' : figure(v, s.digits)}</b>
}
