/** Trends, of one loop or with others beside it: lanes by unit on one time axis, what ran as bars, alarms above, the site log below. */
import { useComputed, useSignal } from '@preact/signals'
import { useCallback, useEffect, useMemo, useRef } from 'preact/hooks'
import type { LoopDetailBody } from '../../server/wire.ts'
import { getLoop } from '../link/api.ts'
import { watch } from '../link/live.ts'
import { go, here, to } from '../router.ts'
import { now } from '../state/store.ts'
import { inSpan, standings } from '../state/then.ts'
import { compareName, raisePairs, shiftOf, type Compare } from '../state/trend-compare.ts'
import { readingsPath, viewOf, viewText, type View } from '../state/trend-view.ts'
import { chosen, coverage, lanes, MOST_LINES, moved, spanOf, type Span } from '../state/trend.ts'
import { timeTicks } from '../state/time-ticks.ts'
import { withVitals } from '../state/vital.ts'
import { unitSystem } from '../state/unit-choice.ts'
import { figure } from '../words/numbers.ts'
import { age, moment, ownZone } from '../words/times.ts'
import { Bars } from './trend-bars.tsx'
import { CursorStage } from './trend-cursor.tsx'
import { SignalChooser } from './trend-choose.tsx'
import { CompareChooser } from './trend-compare.tsx'
import { useBands, useCompared, useCourses, useGuests, useTrendData } from './trend-data.ts'
import { TrendFigures } from './trend-figures.tsx'
import { LaneRow, type Drawn } from './trend-lane.tsx'
import { PickLoop } from './trend-pick.tsx'
import { savePicture, usePaper, type Shown } from './trend-picture.ts'
import { AlarmRail, LogTicks } from './trend-rail.tsx'
import { TrendTable } from './trend-table.tsx'
import { SaveChooser, TrendTools } from './trend-tools.tsx'

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

function Trend({ loop: home }: { loop: LoopDetailBody }) {
  /** Steps with the drawing, not with every second: nothing here shows seconds. */
  const at = useComputed(() => {
    const { span, follows } = spanOf(here.value.query, now.value, POINTS)
    return `${span.fromMs}|${span.toMs}|${follows}`
  })
  const [fromMs = 0, toMs = 0] = at.value.split('|').map(Number)
  const follows = at.value.endsWith('true')
  const span = useMemo<Span>(() => ({ fromMs, toMs }), [fromMs, toMs])
  const { query } = here.value
  const view = useMemo(() => viewOf(query, span, follows), [query, span, follows])
  /** The loop with the clock that all times of the view are told by. */
  const loop = useMemo(() => (view.mine ? { ...home, zone: ownZone() } : home), [home, view.mine])
  const { loops: others, fault: guestFault } = useGuests(view.signals, home.id, view.compare)
  const asked = view.signals.join(',')
  const signals = useMemo(() => chosen(home, view.signals, others.value), [home, asked, others.value])
  const nowMs = now.peek()
  const cursor = useSignal<number | null>(null)
  const room = useSignal(900)
  const paper = useRef<HTMLDivElement>(null)
  const { histories, events, entries, fault } = useTrendData(home.id, signals, span, POINTS)
  // What is asked for and not known yet stays in the address.
  const ids = view.signals.length > 0 ? view.signals : signals.map((s) => s.id)
  const keys = ids.join(',')
  const change = (next: Partial<View>): void => go(addressOf(home.id, { ...view, signals: ids, span: follows ? toMs - fromMs : span, ...next }), true)
  const latest = useRef(change)
  latest.current = change
  const onZoom = useCallback((a: number, b: number) => latest.current({ span: { fromMs: a, toMs: b } }), [])
  const plan = useMemo(() => lanes(signals), [signals])
  const lined = useMemo(() => plan.lanes.flatMap((l) => l.signals), [plan])
  const { courses, fault: courseFault } = useCourses(home.id, lined, span, view.courses)
  const bands = useBands(ids, home.id)
  const compared = view.compare
  const beside = useCompared(home.id, lined, compared, span, home.zone, POINTS).value
  const besideLoop = compared?.kind === 'loop' ? (others.value.get(compared.site)?.name ?? compared.site) : ''
  const besideName = compared === null ? '' : compareName(compared, span, loop.zone, nowMs, besideLoop)
  const [course] = courses.value.values()
  const ticks = useMemo(() => timeTicks(fromMs, toMs, room.value, loop.zone), [fromMs, toMs, room.value, loop.zone])
  const stood = useMemo(() => standings(events.value), [events.value])
  const trends = histories.value
  const drawn = useMemo<Drawn>(
    () => ({ trends, beside, besideName, courses: courses.value, bands: bands.value, span, ticks }),
    [trends, beside, besideName, courses.value, bands.value, span, ticks],
  )
  const all = signals.flatMap((s) => (trends.has(s.id) ? [{ signal: s, history: trends.get(s.id)! }] : []))
  const extents = all.flatMap(({ history }) => history.extent ?? [])
  const firstMs = extents.length === 0 ? null : Math.min(...extents.map((e) => e.firstMs))
  const empty = all.length > 0 && all.every(({ history }) => history.count.every((n) => n === 0))
  const [least] = all.map(({ signal, history }) => ({ signal, share: coverage(history, signal.reportEveryMs) })).toSorted((a, b) => a.share - b.share)
  const bucketMs = all[0]?.history.bucketMs ?? (toMs - fromMs) / POINTS
  const undrawn = signals.filter((s) => s.kind !== 'state').length - MOST_LINES
  const shownStood = inSpan(stood, fromMs, toMs)
  const foot = [
    `Line: mean of ${age(Math.max(1000, bucketMs))}. Tint: lowest to highest reading. Dotted line: doubtful readings.`,
    'Broken line with a letter: a limit as it is now.',
    ...(lined.some((s) => bands.value.has(s.id)) ? ['Grey ground: usual for this loop in hours like the present one.'] : []),
    ...(compared === null ? [] : [besideWords(compared, besideName, lined.filter((s) => beside.has(s.id)).length, lined.length)]),
  ]
  const shown: Shown = { loop, mine: view.mine, lanes: plan.lanes, bars: plan.bars, drawn, stood: shownStood, foot }
  usePaper(paper, shown)
  const by = compared === null ? 0 : shiftOf(compared, span, home.zone)
  const drawnIds = signals.map((s) => s.id)
  const readingsBeside =
    compared === null || lined.length === 0
      ? null
      : compared.kind === 'loop'
        ? readingsPath([...beside.keys()], compared.site, span)
        : readingsPath(drawnIds, home.id, { fromMs: fromMs - by, toMs: toMs - by })
  const faults = [fault.value, courseFault.value, guestFault.value].filter(Boolean)

  return (
    <main id="main">
      <div class="name">
        <h1>
          <small>
            <a href="/trends">Trends</a> / <a href={to.loop(home.id)}>{home.area}</a>
          </small>
          {home.name}
        </h1>
        <div class="choosers">
          <SaveChooser
            name={home.id}
            readings={readingsPath(drawnIds, home.id, span)}
            readingsBeside={beside.size === 0 ? null : readingsBeside}
            onPicture={() => void savePicture(shown)}
          />
          <CompareChooser loop={loop} span={span} compare={compared} name={besideName} pairs={raisePairs(stood, span)} onChange={(compare) => change({ compare })} />
          <SignalChooser loop={home} shownIds={ids} onChange={(next) => change({ signals: next })} />
        </div>
      </div>
      <TrendTools loop={loop} siteZone={home.zone} span={span} follows={follows} firstMs={firstMs} view={view} change={change} />
      {faults.length > 0 && (
        <p class="refused" role="alert">
          {faults[0]}
        </p>
      )}
      <div class="paper" ref={paper} aria-hidden="true" />
      <figure>
        <AlarmRail stood={shownStood} all={stood} span={span} loop={loop} trends={trends} cursor={cursor} />
        {empty && (
          <p class="nobody">
            <b>
              No readings {moment(fromMs, loop.zone, nowMs)} to {moment(toMs, loop.zone, nowMs)}.
            </b>{' '}
            <Nearest extents={extents} span={span} loop={loop} keys={keys} />
          </p>
        )}
        <CursorStage
          cursor={cursor}
          span={span}
          zone={loop.zone}
          stepMs={bucketMs}
          all={all}
          ticks={ticks}
          room={room}
          onMove={(how, aboutMs) => change({ span: moved(span, how, now.peek(), aboutMs ?? undefined) })}
          onNow={() => change({ span: toMs - fromMs })}
        >
          {plan.lanes.map((lane) => (
            <LaneRow key={`${lane.unit}${lane.signals[0]?.quantity}`} signals={lane.signals} drawn={drawn} loop={loop} cursor={cursor} onZoom={onZoom} />
          ))}
          <Bars bars={plan.bars} trends={trends} span={span} />
        </CursorStage>
        <p class="vh" role="status">
          {course ? 'Drift and steps are told under each lane.' : ''}
        </p>
        <LogTicks entries={entries.value} span={span} loop={loop} />
        <figcaption>
          {foot.map((line) => (
            <span key={line}>{line}</span>
          ))}
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
          <span class="keysHint">Keys: arrows move the cursor, + and − look closer and wider, page up and down go earlier and later, 0 is now. Drag to look closer.</span>
          {unitSystem === 'us' && (
            <span>Figures, axes and the saved picture are in US units, turned in this browser from what was measured; saved readings keep the units of the site.</span>
          )}
          {undrawn > 0 && (
            <span>
              Of the signals chosen {undrawn} are not drawn: at most {MOST_LINES} lines can be told apart.
            </span>
          )}
        </figcaption>
      </figure>
      {view.figures && <TrendFigures signals={lined} trends={trends} beside={beside} besideName={besideName} span={span} loop={loop} />}
      {view.table && <TrendTable all={all} loop={loop} />}
    </main>
  )
}

const addressOf = (site: string, view: View): string => `${to.trends(site)}?${viewText(view)}`

function besideWords(c: Compare, name: string, there: number, asked: number): string {
  const said = `Thin broken line: ${c.kind === 'loop' ? `the same signals of ${name}` : name}.`
  return there < asked && c.kind === 'loop' ? `${said} ${there} of ${asked} are measured there.` : said
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
