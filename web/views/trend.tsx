/** Trends of one loop: lanes by unit on one time axis, what ran as bars, alarms above, the site log on the axis. */
import { useComputed, useSignal } from '@preact/signals'
import { useCallback, useEffect, useMemo } from 'preact/hooks'
import type { EntryBody, HistoryBody, JournalBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { colours, dashOf } from '../chart/colours.ts'
import { LaneView } from '../chart/lane-view.tsx'
import type { LaneData } from '../chart/lane.ts'
import { getHistory, getJournal, getLog, getLoop } from '../link/api.ts'
import { watch } from '../link/live.ts'
import { go, here, to } from '../router.ts'
import { allLoops, newAlarm, newEntry, now, values } from '../state/store.ts'
import { timeTicks } from '../state/time-ticks.ts'
import { coverage, csv, lanes, moved, silences, SPANS, thinned, type Span } from '../state/trend.ts'
import { figure } from '../words/numbers.ts'
import { age, clock, moment, offset } from '../words/times.ts'
import { ENTRY_WORDS, LETTER } from '../words/words.ts'
import { entryText } from './loop.tsx'
import { Shape } from './ring.tsx'

const POINTS = 600

export function TrendPage({ site }: { site: string | null }) {
  const loop = useSignal<LoopDetailBody | null>(null)
  const fault = useSignal('')
  useEffect(() => {
    if (site === null) return
    void getLoop(site).then((r) => {
      if (r.ok) loop.value = r.body
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

function PickLoop() {
  return (
    <main id="main">
      <div class="name">
        <h1>Trends</h1>
      </div>
      <p>Choose a loop.</p>
      <ul class="pick">
        {[...allLoops.value]
          .sort((a, b) => a.name.localeCompare(b.name))
          .map((l) => (
            <li key={l.id}>
              <a href={to.trends(l.id)}>{l.name}</a> <span class="mute">{l.area}</span>
            </li>
          ))}
      </ul>
    </main>
  )
}

function chosen(loop: LoopDetailBody, asked: string | null): readonly SignalBody[] {
  const ids = asked?.split(',').filter(Boolean) ?? []
  const known = ids.flatMap((id) => loop.signals.find((s) => s.id === id) ?? [])
  if (known.length > 0) return known
  const first = (q: string): SignalBody | undefined => loop.signals.find((s) => s.quantity === q)
  const usual = ['do', 'ph', 'orp', 'level', 'pressure'].flatMap((q) => first(q) ?? [])
  const run = loop.signals.filter((s) => s.quantity === 'run').slice(0, 4)
  return usual.length + run.length > 0 ? [...usual, ...run] : loop.signals.slice(0, 6)
}

function Trend({ loop }: { loop: LoopDetailBody }) {
  const { query } = here.value
  const signals = useMemo(() => chosen(loop, query.get('signals')), [loop, query.get('signals')])
  const nowMs = now.value
  const asked = Number(query.get('to'))
  const from = Number(query.get('from'))
  const follows = !(asked > 0)
  /** While it follows the present the end steps with the width of one span of the drawing. */
  const widthMs = from > 0 && asked > 0 ? asked - from : Number(query.get('span')) || 8 * 3_600_000
  const stepMs = Math.max(5_000, widthMs / POINTS)
  const end = follows ? Math.ceil(nowMs / stepMs) * stepMs : asked
  const span: Span = { fromMs: end - widthMs, toMs: end }
  const data = useSignal<ReadonlyMap<string, HistoryBody>>(new Map())
  const events = useSignal<JournalBody['events']>([])
  const entries = useSignal<readonly EntryBody[]>([])
  const fault = useSignal('')
  const cursor = useSignal<number | null>(null)
  const asTable = useSignal(false)
  const keys = signals.map((s) => s.id).join(',')
  useEffect(() => {
    let over = false
    const load = async (): Promise<void> => {
      const answers = await Promise.all(signals.map((s) => getHistory(loop.id, s.id, span.fromMs, span.toMs, POINTS)))
      if (over) return
      const next = new Map<string, HistoryBody>()
      const wrong = answers.find((a) => !a.ok)
      answers.forEach((a) => a.ok && next.set(a.body.signal, a.body))
      data.value = next
      fault.value = wrong && !wrong.ok ? wrong.message : ''
    }
    void load()
    return () => {
      over = true
    }
  }, [loop.id, keys, span.fromMs, span.toMs])
  useEffect(() => {
    void getJournal(span.fromMs, span.toMs, 200, loop.id).then((r) => r.ok && (events.value = r.body.events))
  }, [loop.id, Math.round(span.fromMs / 60_000), Math.round(span.toMs / 60_000), newAlarm.value])
  useEffect(() => {
    void getLog(loop.id, span.fromMs, span.toMs).then((r) => r.ok && (entries.value = r.body.entries))
  }, [loop.id, Math.round(span.fromMs / 60_000), Math.round(span.toMs / 60_000), newEntry.value])

  const show = useCallback(
    (next: { signals?: string; span?: Span | number }) => {
      const p = new URLSearchParams()
      const ids = next.signals ?? keys
      if (ids) p.set('signals', ids)
      if (typeof next.span === 'number') p.set('span', String(next.span))
      else {
        const s = next.span ?? (follows ? null : span)
        if (s) {
          p.set('from', String(Math.round(s.fromMs)))
          p.set('to', String(Math.round(s.toMs)))
        } else p.set('span', String(widthMs))
      }
      go(`/trends/${encodeURIComponent(loop.id)}?${p.toString().replaceAll('%2C', ',')}`, true)
    },
    [keys, follows, span.fromMs, span.toMs, widthMs],
  )
  const plan = useMemo(() => lanes(signals), [signals])
  const onCursor = useCallback((ms: number | null) => (cursor.value = ms), [])
  const onZoom = useCallback((a: number, b: number) => show({ span: { fromMs: a, toMs: b } }), [show])
  const all = useComputed(() => signals.flatMap((s) => (data.value.get(s.id) ? [{ signal: s, history: data.value.get(s.id)! }] : [])))
  const extent = [...data.value.values()].reduce<number | null>((low, h) => (h.extent && (low === null || h.extent.firstMs < low) ? h.extent.firstMs : low), null)
  const empty = data.value.size > 0 && [...data.value.values()].every((h) => h.count.every((n) => n === 0))
  const bucketMs = [...data.value.values()][0]?.bucketMs ?? 0
  const share = all.value.length === 0 ? null : Math.min(...all.value.map(({ signal, history }) => coverage(history, signal.reportEveryMs)))

  return (
    <main id="main">
      <div class="name">
        <h1>
          <small>
            <a href="/trends">Trends</a> / <a href={to.loop(loop.id)}>{loop.area}</a>
          </small>
          {loop.name}
        </h1>
        <AddSignal loop={loop} shownIds={signals.map((s) => s.id)} onChange={(ids) => show({ signals: ids.join(',') })} />
      </div>
      <div class="tools">
        <div class="grp" role="group" aria-label="Span up to now">
          {SPANS.map(([word, ms]) => (
            <button key={word} type="button" class="btn" aria-pressed={follows && widthMs === ms} onClick={() => show({ span: ms })}>
              {word}
            </button>
          ))}
          <button type="button" class="btn" aria-pressed={false} onClick={() => extent !== null && show({ span: { fromMs: extent, toMs: nowMs } })}>
            all
          </button>
        </div>
        <div class="grp" role="group" aria-label="Move">
          {(['earlier', 'later', 'closer', 'wider'] as const).map((how) => (
            <button key={how} type="button" class="btn" onClick={() => show({ span: moved(span, how, nowMs) })}>
              {how.slice(0, 1).toUpperCase() + how.slice(1)}
            </button>
          ))}
        </div>
        <button type="button" class="btn" aria-pressed={asTable.value} onClick={() => (asTable.value = !asTable.value)}>
          As a table
        </button>
        <button
          type="button"
          class="btn"
          onClick={() =>
            save(
              csv(all.value, (ms) => new Date(ms).toISOString()),
              `${loop.id}.csv`,
            )
          }
        >
          Save CSV
        </button>
        <p>
          <b>
            {moment(span.fromMs, loop.zone, nowMs)} to {follows ? 'now' : moment(span.toMs, loop.zone, nowMs)}
          </b>
          , {age(widthMs)}, site time {offset(nowMs, loop.zone)}
        </p>
      </div>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
      <figure>
        <AlarmRail events={events.value} span={span} loop={loop} />
        {empty && (
          <p class="nobody">
            <b>
              No readings {moment(span.fromMs, loop.zone, nowMs)} to {moment(span.toMs, loop.zone, nowMs)}.
            </b>{' '}
            {extent !== null && (
              <a href={`/trends/${encodeURIComponent(loop.id)}?signals=${keys}&from=${extent - 3_600_000}&to=${extent + 7 * 3_600_000}`}>
                The first one is of {moment(extent, loop.zone, nowMs)}
              </a>
            )}
          </p>
        )}
        {plan.lanes.map((lane, i) => (
          <LaneRow
            key={`${lane.unit}${lane.signals[0]?.quantity}`}
            index={i}
            signals={lane.signals}
            loop={loop}
            data={data.value}
            span={span}
            axis={i === plan.lanes.length - 1}
            cursorMs={cursor.value}
            onCursor={onCursor}
            onZoom={onZoom}
          />
        ))}
        {plan.bars.length > 0 && <Bars bars={plan.bars} data={data.value} span={span} />}
        <LogTicks entries={entries.value} span={span} loop={loop} />
        <figcaption>
          <span>Line: mean of {age(Math.max(1000, bucketMs))}. Tint: lowest to highest reading.</span>
          <span>Broken line with a letter: a limit as it is now.</span>
          {share !== null && <span>{figure(share, 1)} % of the time has readings.</span>}
          {cursor.value !== null && (
            <span>
              <b>{moment(cursor.value, loop.zone, nowMs)}</b>
            </span>
          )}
        </figcaption>
      </figure>
      {asTable.value && <Table all={all.value} loop={loop} />}
    </main>
  )
}

function save(text: string, name: string): void {
  const a = document.createElement('a')
  a.href = URL.createObjectURL(new Blob([`\ufeff${text}`], { type: 'text/csv' }))
  a.download = name
  a.click()
  URL.revokeObjectURL(a.href)
}

function AddSignal({ loop, shownIds, onChange }: { loop: LoopDetailBody; shownIds: readonly string[]; onChange: (ids: readonly string[]) => void }) {
  return (
    <details class="chooser">
      <summary class="btn">Signals ({shownIds.length})</summary>
      <fieldset>
        <legend class="vh">Signals shown</legend>
        {loop.signals.map((s) => (
          <label key={s.id}>
            <input
              type="checkbox"
              checked={shownIds.includes(s.id)}
              onChange={(e) => onChange(e.currentTarget.checked ? [...shownIds, s.id] : shownIds.filter((x) => x !== s.id))}
            />
            {s.name} <span class="mute">{s.unitText}</span>
          </label>
        ))}
      </fieldset>
    </details>
  )
}

interface LaneRowProps {
  readonly index: number
  readonly signals: readonly SignalBody[]
  readonly loop: LoopDetailBody
  readonly data: ReadonlyMap<string, HistoryBody>
  readonly span: Span
  readonly axis: boolean
  readonly cursorMs: number | null
  readonly onCursor: (ms: number | null) => void
  readonly onZoom: (fromMs: number, toMs: number) => void
}

function LaneRow({ signals, loop, data, span, axis, cursorMs, onCursor, onZoom }: LaneRowProps) {
  const ink = colours.value
  const lane = useMemo<LaneData>(() => {
    const first = signals[0]
    const h = first ? data.get(first.id) : undefined
    return {
      fromMs: span.fromMs,
      toMs: span.toMs,
      series: signals.map((s, i) => {
        const of = data.get(s.id)
        const t = of ? thinned(of, s.reportEveryMs) : { at: [], mean: [], min: [], max: [] }
        return {
          name: s.name,
          colour: s.quantity === 'level' && signals.length === 1 ? (ink.series[4] ?? '') : (ink.series[i] ?? ''),
          dash: s.quantity === 'level' && signals.length === 1 ? [] : dashOf(i),
          atMs: t.at,
          mean: t.mean,
          min: t.min,
          max: t.max,
        }
      }),
      limits: signals.length === 1 ? (first?.limits ?? []).map((l) => ({ name: l.name, value: l.value, text: `${l.name} ${figure(l.value, first?.digits ?? 1)}` })) : [],
      gaps: first && h ? silences(h, first.reportEveryMs) : [],
      ticks: (a, b, room) => timeTicks(a, b, room, loop.zone),
      axis,
      digits: first?.digits ?? 1,
      colours: ink,
    }
  }, [signals, data, span.fromMs, span.toMs, axis, ink])
  return (
    <div class="laneRow">
      <div class="gutter">
        {signals.map((s, i) => (
          <div key={s.id} class="key">
            <b>{s.name}</b>
            <p>
              <svg width="24" height="6" aria-hidden="true">
                <path class="keyLine" d="M0 3H24" stroke={lane.series[i]?.colour} stroke-dasharray={dashOf(i).join(' ')} />
              </svg>
              <span class="rv">{at(s, data.get(s.id), cursorMs)}</span> <span class="mute">{s.unitText}</span>
            </p>
          </div>
        ))}
      </div>
      <LaneView data={lane} height={(signals.length > 1 ? 168 : 132) + (axis ? 42 : 0)} cursorKey={`trend-${loop.id}`} onCursor={onCursor} onZoom={onZoom} />
    </div>
  )
}

/** Figure at the cursor, or the newest one. Where there is no reading there is a dash. */
function at(s: SignalBody, h: HistoryBody | undefined, cursorMs: number | null): string {
  if (cursorMs === null) {
    const v = values.value.get(h?.site ?? '')?.get(s.id)
    const value = v ? v[1] : s.value
    return value === null ? '–' : figure(value, s.digits)
  }
  if (!h) return '–'
  const i = Math.floor((cursorMs - h.fromMs) / h.bucketMs)
  // A reading holds for its own interval: look back so far and no further.
  const back = Math.ceil(s.reportEveryMs / h.bucketMs)
  for (let j = i; j >= Math.max(0, i - back); j--) {
    const v = h.mean[j]
    if (v !== null && v !== undefined) return figure(v, s.digits)
  }
  return '–'
}

const share = (ms: number, span: Span): string => `${Math.max(0, Math.min(100, (100 * (ms - span.fromMs)) / (span.toMs - span.fromMs)))}%`

/** Three rows of alarms over the lanes: mark at the raise, solid until answered, hollow until cleared, the sentence at its end. */
function AlarmRail({ events, span, loop }: { events: JournalBody['events']; span: Span; loop: LoopDetailBody }) {
  const by = new Map<string, { what: string; letter: 'A' | 'B' | 'C' | 'W'; from: number; answered: number | null; to: number | null }>()
  for (const e of [...events].reverse()) {
    const known = by.get(e.occurrence)
    if (e.kind === 'raised') by.set(e.occurrence, { what: e.what, letter: LETTER[e.priority], from: e.atMs, answered: null, to: null })
    else if (known && e.kind === 'acknowledged') known.answered = e.atMs
    else if (known && e.kind === 'cleared') known.to = e.atMs
  }
  const rows = [...by.values()].sort((a, b) => b.from - a.from)
  if (rows.length === 0) return null
  return (
    <div class="rail">
      <div class="gutter">
        <b>Alarms</b>
        {rows.length > 3 && <p class="mute">and {rows.length - 3} more</p>}
      </div>
      <svg
        class="railBox"
        height={Math.min(3, rows.length) * 22}
        aria-label={rows
          .slice(0, 3)
          .map((r) => `${r.letter}: ${r.what}, ${moment(r.from, loop.zone, now.peek())}`)
          .join('. ')}
        role="img"
      >
        {rows.slice(0, 3).map((r, i) => {
          const end = r.to ?? span.toMs
          const solid = r.answered ?? end
          return (
            <g key={r.from + r.what} class={`${r.letter} un`} transform={`translate(0 ${i * 22 + 11})`}>
              <line class="railOpen" x1={share(r.from, span)} x2={share(end, span)} y1="0" y2="0" />
              <line class="railSolid" x1={share(r.from, span)} x2={share(Math.min(solid, end), span)} y1="0" y2="0" />
              <svg x={share(r.from, span)} y="-8" width="16" height="16" viewBox="0 0 24 24" overflow="visible" class="un">
                <Shape letter={r.letter} x={-12} y={0} width={24} />
              </svg>
              <text
                class="railText"
                x={share(r.from, span)}
                dx={(r.from - span.fromMs) / (span.toMs - span.fromMs) > 0.7 ? -14 : 14}
                y="4"
                text-anchor={(r.from - span.fromMs) / (span.toMs - span.fromMs) > 0.7 ? 'end' : 'start'}
              >
                {r.what}, {clock(r.from, loop.zone)}
              </text>
            </g>
          )
        })}
      </svg>
      <span class="railEnd" />
    </div>
  )
}

/** What ran: ink while 1, a thin line while 0, nothing where nothing was heard. */
function Bars({ bars, data, span }: { bars: readonly SignalBody[]; data: ReadonlyMap<string, HistoryBody>; span: Span }) {
  return (
    <div class="bars">
      {bars.map((s) => {
        const h = data.get(s.id)
        const t = h ? thinned(h, s.reportEveryMs) : null
        const step = Math.max(h?.bucketMs ?? 0, s.reportEveryMs)
        return (
          <div key={s.id} class="barRow">
            <div class="gutter">
              <b>{s.name}</b>
            </div>
            <svg
              class="railBox"
              height="16"
              preserveAspectRatio="none"
              viewBox="0 0 1000 16"
              role="img"
              aria-label={`${s.name}: ${s.states?.[1] ?? 'on'} ${h && t ? Math.round((100 * t.mean.filter((v) => v !== null && v > 0.5).length) / Math.max(1, t.mean.filter((v) => v !== null).length)) : 0} percent of the readings`}
            >
              {t?.at.map((ms, i) => {
                const v = t.mean[i]
                if (v === null || v === undefined) return null
                const x = (1000 * (ms - (h?.bucketMs ?? 0) / 2 - span.fromMs)) / (span.toMs - span.fromMs)
                const w = Math.max(0.5, (1000 * step) / (span.toMs - span.fromMs))
                return v > 0 ? (
                  <rect key={ms} class="on" x={x} y={8 - 5.5 * Math.max(0.25, v)} width={w + 0.4} height={11 * Math.max(0.25, v)} />
                ) : (
                  <rect key={ms} class="off" x={x} y="7.5" width={w + 0.4} height="1" />
                )
              })}
            </svg>
            <span class="railEnd" />
          </div>
        )
      })}
    </div>
  )
}

/** The site log on the time axis: an ink tick with its sentence. */
function LogTicks({ entries, span, loop }: { entries: readonly EntryBody[]; span: Span; loop: LoopDetailBody }) {
  if (entries.length === 0) return null
  return (
    <div class="logTicks">
      <div class="gutter">
        <b>Site log</b>
      </div>
      <div>
        <svg class="railBox" height="14" aria-hidden="true">
          {entries.map((e) => (
            <line key={e.id} class="logTick" x1={share(e.atMs, span)} x2={share(e.atMs, span)} y1="0" y2="14" />
          ))}
        </svg>
        <ul>
          {entries.slice(0, 8).map((e) => (
            <li key={e.id}>
              {moment(e.atMs, loop.zone, now.peek())} <b>{ENTRY_WORDS[e.kind] ?? e.kind}</b> {entryText(e)}, {e.by}
            </li>
          ))}
        </ul>
      </div>
    </div>
  )
}

function Table({ all, loop }: { all: readonly { signal: SignalBody; history: HistoryBody }[]; loop: LoopDetailBody }) {
  return (
    <div class="wide">
      {all.map(({ signal: s, history: h }) => {
        const rows = h.at.flatMap((ms, i) => ((h.count[i] ?? 0) + (h.bad[i] ?? 0) > 0 ? [{ ms, i }] : [])).slice(-200)
        return (
          <table key={s.id} class="list">
            <caption>
              {s.name}, {s.unitText || s.unit}: newest {rows.length} spans of {age(h.bucketMs)}, {loop.zone}
            </caption>
            <thead>
              <tr>
                <th scope="col">From</th>
                <th scope="col" class="num">
                  Mean
                </th>
                <th scope="col" class="num">
                  Lowest
                </th>
                <th scope="col" class="num">
                  Highest
                </th>
                <th scope="col" class="num">
                  Readings
                </th>
                <th scope="col" class="num">
                  Bad
                </th>
              </tr>
            </thead>
            <tbody>
              {rows.reverse().map(({ ms, i }) => (
                <tr key={ms}>
                  <td>{moment(ms, loop.zone, now.peek())}</td>
                  {[h.mean[i], h.min[i], h.max[i]].map((v, k) => (
                    <td key={k} class="num">
                      {v === null || v === undefined ? '–' : figure(v, s.digits + 1)}
                    </td>
                  ))}
                  <td class="num">{h.count[i]}</td>
                  <td class="num">{h.bad[i]}</td>
                </tr>
              ))}
            </tbody>
          </table>
        )
      })}
    </div>
  )
}
