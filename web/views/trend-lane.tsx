/** One lane: names, lines' samples and figures in the gutter on the left, the drawing beside it. */
import { type Signal } from '@preact/signals'
import { useMemo } from 'preact/hooks'
import type { HistoryBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { colours, dashOf } from '../chart/colours.ts'
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
import type { Trends } from './trend-data.ts'

interface Props {
  readonly signals: readonly SignalBody[]
  readonly trends: Trends
  /** Empty: not asked for. */
  readonly courses: Courses
  readonly loop: LoopDetailBody
  readonly span: Span
  readonly ticks: readonly Tick[]
  readonly cursor: Signal<number | null>
  readonly onZoom: (fromMs: number, toMs: number) => void
}

const NOTHING = { at: [], mean: [], doubtful: [], min: [], max: [] }

export function LaneRow({ signals, trends, courses, loop, span, ticks, cursor, onZoom }: Props) {
  const ink = colours.value
  const lane = useMemo<LaneData>(() => {
    const first = signals[0]
    const h = first && trends.get(first.id)
    // Water alone in its lane takes the colour it has everywhere.
    const water = signals.length === 1 && first?.quantity === 'level'
    const colourOf = (i: number): string => ink.series[water ? 4 : i] ?? ink.ink
    return {
      fromMs: span.fromMs,
      toMs: span.toMs,
      series: signals.map((s, i) => {
        const of = trends.get(s.id)
        return { name: s.name, colour: colourOf(i), dash: water ? [] : dashOf(i), ...(of ? thinned(of, s.reportEveryMs) : NOTHING) }
      }),
      limits: limitsOf(signals),
      gaps: first && h ? silences(h, first.reportEveryMs) : [],
      courses: signals.flatMap((s, i) => {
        const of = courses.get(s.id)
        const drawn = of ? laid(of) : null
        return drawn ? [{ ...drawn, colour: colourOf(i) }] : []
      }),
      ticks,
      colours: ink,
    }
  }, [signals, trends, courses, span, ticks, ink])
  return (
    <div class="laneRow">
      <div class="gutter">
        {signals.map((s, i) => (
          <div key={s.id} class="key">
            <b>{s.name}</b>
            <p>
              <svg width="24" height="6" aria-hidden="true">
                <path class="keyLine" d="M0 3H24" stroke={lane.series[i]?.colour} stroke-dasharray={lane.series[i]?.dash.join(' ')} />
              </svg>
              <FigureAt signal={s} history={trends.get(s.id)} cursor={cursor} /> <span class="mute">{s.unitText}</span>
            </p>
          </div>
        ))}
      </div>
      <LaneView data={lane} height={signals.length > 1 ? 168 : 124} cursor={cursor} onZoom={onZoom} />
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
  const told = h && values.value.get(h.site)?.get(s.id)
  const v = shown(told ? { ...s, value: told[1], quality: told[2], sub: told[3], sourceMs: told[4] } : s, now.value)
  return <span class={`rv val ${v.kind}`}>{v.text}</span>
}
