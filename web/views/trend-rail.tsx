/** Above the lanes the alarms of the span, and the ring as it was at the cursor; below them the site log. */
import type { Signal } from '@preact/signals'
import type { EntryBody, LoopDetailBody } from '../../server/wire.ts'
import { loopSignal, minute, now } from '../state/store.ts'
import { loopAt, type Standing } from '../state/then.ts'
import type { Span } from '../state/trend.ts'
import { clock, moment } from '../words/times.ts'
import { ENTRY_WORDS } from '../words/words.ts'
import { entryText } from './entries.tsx'
import { Ring, Shape } from './ring.tsx'
import { share } from './trend-cursor.tsx'
import type { Trends } from './trend-data.ts'

const MOST_ROWS = 3
const ROW = 22

interface RailProps {
  readonly stood: readonly Standing[]
  readonly all: readonly Standing[]
  readonly span: Span
  readonly loop: LoopDetailBody
  readonly trends: Trends
  readonly cursor: Signal<number | null>
}

/** Mark at the raise, bar solid until somebody answered, hollow until it cleared, the sentence at its end. */
export function AlarmRail({ stood, all, span, loop, trends, cursor }: RailProps) {
  const rows = stood.slice(0, MOST_ROWS)
  const sentence = (s: Standing): string =>
    [
      `${s.what}, ${moment(s.fromMs, loop.zone, now.peek())}`,
      s.answeredMs !== null && `answered ${clock(s.answeredMs, loop.zone)}${s.by ? ` by ${s.by}` : ''}`,
      s.clearedMs !== null && `cleared ${clock(s.clearedMs, loop.zone)}`,
    ]
      .filter(Boolean)
      .join(', ')
  return (
    <div class="rail">
      <div class="gutter then">
        <RingThen all={all} loop={loop} trends={trends} cursor={cursor} />
        {stood.length > MOST_ROWS && <p class="mute">and {stood.length - MOST_ROWS} more</p>}
      </div>
      <svg
        class="railBox"
        height={Math.max(1, rows.length) * ROW}
        role="img"
        aria-label={rows.length === 0 ? 'No alarm in this span' : rows.map((r) => `${r.letter}: ${sentence(r)}`).join('. ')}
      >
        {rows.length === 0 && (
          <text class="railText" x="0" y="15">
            No alarm in this span
          </text>
        )}
        {rows.map((r, i) => {
          const from = share(r.fromMs, span)
          const end = share(r.clearedMs ?? r.endMs ?? span.toMs, span)
          const solid = Math.min(end, r.answeredMs === null ? end : share(r.answeredMs, span))
          // Where there is no room on the right the sentence stands before the mark.
          const before = end > 62
          return (
            <g key={r.alarm + r.fromMs} class={`${r.letter} ${r.letter === 'W' ? 'ack' : 'un'}`} transform={`translate(0 ${i * ROW + ROW / 2})`}>
              {end > solid && <rect class="railHollow" x={`${solid}%`} width={`${end - solid}%`} y="-4" height="8" />}
              <rect class="railSolid" x={`${from}%`} width={`${Math.max(0, solid - from)}%`} y="-4" height="8" />
              {r.fromMs >= span.fromMs && (
                <svg x={`${from}%`} y="-8" width="16" height="16" viewBox="0 0 24 24" overflow="visible">
                  <Shape letter={r.letter} x={-12} y={0} width={24} />
                </svg>
              )}
              <text class="railText" x={`${before ? from : end}%`} dx={before ? -14 : 12} y="4" text-anchor={before ? 'end' : 'start'}>
                {sentence(r)}
              </text>
            </g>
          )
        })}
      </svg>
      <span class="railEnd" />
      {/* On a phone there is no room beside the marks. */}
      <ul class="railList" aria-hidden="true">
        {rows.map((r) => (
          <li key={r.alarm + r.fromMs} class={r.letter}>
            <b class="word">{r.letter}</b> {sentence(r)}
          </li>
        ))}
      </ul>
    </div>
  )
}

/** The small ring as it was at the cursor; without one, as it is. */
function RingThen({ all, loop, trends, cursor }: Pick<RailProps, 'all' | 'loop' | 'trends' | 'cursor'>) {
  const ms = cursor.value
  const live = loopSignal(loop.id)?.value ?? loop
  return (
    <>
      <Ring loop={ms === null ? live : loopAt(loop, all, trends, ms)} nowMs={ms ?? minute.value} />
      <p>
        <b>Alarms</b>
        <span>{ms === null ? 'the ring now' : `the ring at ${clock(ms, loop.zone)}`}</span>
      </p>
    </>
  )
}

/** The site log on the time axis: an ink tick with its sentence. */
export function LogTicks({ entries, span, loop }: { entries: readonly EntryBody[]; span: Span; loop: LoopDetailBody }) {
  if (entries.length === 0) return null
  return (
    <div class="logTicks">
      <div class="gutter">
        <b>Site log</b>
      </div>
      <div>
        <svg class="railBox" height="14" aria-hidden="true">
          {entries.map((e) => (
            <line key={e.id} class="logTick" x1={`${share(e.atMs, span)}%`} x2={`${share(e.atMs, span)}%`} y1="0" y2="14" />
          ))}
        </svg>
        <ul>
          {entries.slice(0, 8).map((e) => (
            <li key={e.id}>
              {moment(e.atMs, loop.zone, now.peek())} <b>{ENTRY_WORDS[e.kind] ?? e.kind}</b> {entryText(e, loop.stages)}, {e.by}
            </li>
          ))}
          {entries.length > 8 && <li class="mute">and {entries.length - 8} more</li>}
        </ul>
      </div>
    </div>
  )
}
