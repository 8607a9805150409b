/** Trends of one loop: lanes by unit on one time axis, what ran as bars, alarms above, the site log below. */
import { useComputed, useSignal } from '@preact/signals'
import { useCallback, useEffect, useMemo } from 'preact/hooks'
import type { LoopDetailBody } from '../../server/wire.ts'
import { getLoop } from '../link/api.ts'
import { watch } from '../link/live.ts'
import { go, here, to } from '../router.ts'
import { now } from '../state/store.ts'
import { inSpan, standings } from '../state/then.ts'
import { chosen, coverage, lanes, MOST_LINES, spanOf, type Span } from '../state/trend.ts'
import { timeTicks } from '../state/time-ticks.ts'
import { withVitals } from '../state/vital.ts'
import { unitSystem } from '../state/unit-choice.ts'
import { figure } from '../words/numbers.ts'
import { age, moment } from '../words/times.ts'
import { Bars } from './trend-bars.tsx'
import { CursorStage } from './trend-cursor.tsx'
import { useCourses, useTrendData } from './trend-data.ts'
import { LaneRow } from './trend-lane.tsx'
import { PickLoop } from './trend-pick.tsx'
import { AlarmRail, LogTicks } from './trend-rail.tsx'
import { TrendTable } from './trend-table.tsx'
import { TrendTools, SignalChooser } from './trend-tools.tsx'

/** Spans asked for over the width of the page. */
const POINTS = 600

export function TrendPage({ site }: { site: string | null }) {
  const loop = useSignal<LoopDetailBody | null>(null)
  const fault = useSignal('')
  useEffect(() => {
    if (site === null) return
    void getLoop(site).then((r) => {
      if (r.ok) loop.value = withVitals(r.body)
      else fault.value = r.message
    })
    return watch([site])
  }, [site])
  document.title = `Trends${loop.value ? `: ${loop.value.name}` : ''} · Loopkeeper`
  if (site === null) return <PickLoop />
  if (!loop.value)
    return (
      <main id="main" class="plain">
        <h1 class="title">Trends</h1>
        <p>{fault.value || 'Asking the server.'}</p>
      </main>
    )
  return <Trend loop={loop.value} />
}

function Trend({ loop }: { loop: LoopDetailBody }) {
  const { query } = here.value
  const asked = query.get('signals')
  const signals = useMemo(() => chosen(loop, asked), [loop, asked])
  /** Steps with the drawing, not with every second: nothing here shows seconds. */
  const at = useComputed(() => {
    const { span, follows } = spanOf(here.value.query, now.value, POINTS)
    return `${span.fromMs}|${span.toMs}|${follows}`
  })
  const [fromMs = 0, toMs = 0] = at.value.split('|').map(Number)
  const follows = at.value.endsWith('true')
  const span = useMemo<Span>(() => ({ fromMs, toMs }), [fromMs, toMs])
  const nowMs = now.peek()
  const cursor = useSignal<number | null>(null)
  const asTable = useSignal(false)
  const withCourses = useSignal(false)
  const room = useSignal(900)
  const { histories, events, entries, fault } = useTrendData(loop.id, signals, span, POINTS)
  const keys = signals.map((s) => s.id).join(',')
  const show = useCallback(
    (next: { readonly signals?: string; readonly span?: Span | number }) => {
      const p = new URLSearchParams({ signals: next.signals ?? keys })
      const s = next.span ?? (follows ? toMs - fromMs : span)
      if (typeof s === 'number') p.set('span', String(Math.round(s)))
      else {
        p.set('from', String(Math.round(s.fromMs)))
        p.set('to', String(Math.round(s.toMs)))
      }
      go(`${to.trends(loop.id)}?${p.toString().replaceAll('%2C', ',')}`, true)
    },
    [keys, follows, fromMs, toMs, loop.id],
  )
  const onZoom = useCallback((a: number, b: number) => show({ span: { fromMs: a, toMs: b } }), [show])
  const plan = useMemo(() => lanes(signals), [signals])
  const drawn = useMemo(() => plan.lanes.flatMap((l) => l.signals), [plan])
  const { courses, fault: courseFault } = useCourses(loop.id, drawn, span, withCourses.value)
  const [course] = courses.value.values()
  const ticks = useMemo(() => timeTicks(fromMs, toMs, room.value, loop.zone), [fromMs, toMs, room.value, loop.zone])
  const stood = useMemo(() => standings(events.value), [events.value])
  const trends = histories.value
  const all = signals.flatMap((s) => (trends.has(s.id) ? [{ signal: s, history: trends.get(s.id)! }] : []))
  const extents = all.flatMap(({ history }) => history.extent ?? [])
  const firstMs = extents.length === 0 ? null : Math.min(...extents.map((e) => e.firstMs))
  const empty = all.length > 0 && all.every(({ history }) => history.count.every((n) => n === 0))
  const [least] = all.map(({ signal, history }) => ({ signal, share: coverage(history, signal.reportEveryMs) })).toSorted((a, b) => a.share - b.share)
  const bucketMs = all[0]?.history.bucketMs ?? (toMs - fromMs) / POINTS
  const undrawn = signals.filter((s) => s.kind !== 'state').length - MOST_LINES

  return (
    <main id="main">
      <div class="name">
        <h1>
          <small>
            <a href="/trends">Trends</a> / <a href={to.loop(loop.id)}>{loop.area}</a>
          </small>
          {loop.name}
        </h1>
        <SignalChooser loop={loop} shownIds={signals.map((s) => s.id)} onChange={(ids) => show({ signals: ids.join(',') })} />
      </div>
      <TrendTools loop={loop} span={span} follows={follows} firstMs={firstMs} all={all} asTable={asTable} courses={withCourses} show={(s) => show({ span: s })} />
      {(fault.value || courseFault.value) && (
        <p class="refused" role="alert">
          {fault.value || courseFault.value}
        </p>
      )}
      <figure>
        <AlarmRail stood={inSpan(stood, fromMs, toMs)} all={stood} span={span} loop={loop} trends={trends} cursor={cursor} />
        {empty && (
          <p class="nobody">
            <b>
              No readings {moment(fromMs, loop.zone, nowMs)} to {moment(toMs, loop.zone, nowMs)}.
            </b>{' '}
            <Nearest extents={extents} span={span} loop={loop} keys={keys} />
          </p>
        )}
        <CursorStage cursor={cursor} span={span} zone={loop.zone} stepMs={bucketMs} all={all} ticks={ticks} room={room}>
          {plan.lanes.map((lane) => (
            <LaneRow
              key={`${lane.unit}${lane.signals[0]?.quantity}`}
              signals={lane.signals}
              trends={trends}
              courses={courses.value}
              loop={loop}
              span={span}
              ticks={ticks}
              cursor={cursor}
              onZoom={onZoom}
            />
          ))}
          <Bars bars={plan.bars} trends={trends} span={span} />
        </CursorStage>
        <p class="vh" role="status">
          {course ? 'Drift and steps are told under each lane.' : ''}
        </p>
        <LogTicks entries={entries.value} span={span} loop={loop} />
        <figcaption>
          <span>Line: mean of {age(Math.max(1000, bucketMs))}. Tint: lowest to highest reading. Dotted line: doubtful readings.</span>
          <span>Broken line with a letter: a limit as it is now.</span>
          {course && (
            <span>
              Ring to ring: Theil-Sen line through medians of {age(course.stepMs)}, its blades where it lies in {Math.round(100 * course.level)} of 100. Two levels: a step, the
              bracket where it lies in {Math.round(100 * course.level)} of 100.
            </span>
          )}
          {least && (
            <span>
              {figure(Math.floor(least.share * 10) / 10, 1)} % of the time has readings{all.length > 1 && ` of ${least.signal.name}, the least of all`}.
            </span>
          )}
          {unitSystem === 'us' && (
            <span>Figures, axes and the saved file are in US units, turned in this browser from what was measured; each row of the file names its unit.</span>
          )}
          {undrawn > 0 && (
            <span>
              Of the signals chosen {undrawn} are not drawn: at most {MOST_LINES} lines can be told apart.
            </span>
          )}
        </figcaption>
      </figure>
      {asTable.value && <TrendTable all={all} loop={loop} />}
    </main>
  )
}

/** The reading nearest to an empty span, as a way there. */
function Nearest({ extents, span, loop, keys }: { extents: readonly { firstMs: number; lastMs: number }[]; span: Span; loop: LoopDetailBody; keys: string }) {
  if (extents.length === 0) return <>These signals have never been heard.</>
  const first = Math.min(...extents.map((e) => e.firstMs))
  const last = Math.max(...extents.map((e) => e.lastMs))
  const ms = span.toMs <= first ? first : last < span.fromMs ? last : null
  if (ms === null) return null
  const width = span.toMs - span.fromMs
  return (
    <a href={`${to.trends(loop.id)}?signals=${keys}&from=${Math.round(ms - width / 2)}&to=${Math.round(ms + width / 2)}`}>
      The {ms === first ? 'first' : 'last'} one is of {moment(ms, loop.zone, now.peek())}
    </a>
  )
}
