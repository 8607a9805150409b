/**
 * The stage of the lanes: one cursor line through all of them, moved by pointer or keys, and the axis of time under it. Values
 * stand in the gutter; for people who listen, a step by key says them.
 */
import { useSignal, useSignalEffect, type Signal } from '@preact/signals'
import type { ComponentChildren } from 'preact'
import { useEffect, useRef } from 'preact/hooks'
import type { HistoryBody, SignalBody } from '../../server/wire.ts'
import type { Tick } from '../state/time-ticks.ts'
import { meanAt } from '../state/then.ts'
import type { Move, Span } from '../state/trend.ts'
import { measured } from '../words/numbers.ts'
import { clock, clockSeconds, day, offset } from '../words/times.ts'

interface Props {
  readonly cursor: Signal<number | null>
  readonly span: Span
  readonly zone: string
  /** One step of an arrow key, ms. */
  readonly stepMs: number
  readonly all: readonly { readonly signal: SignalBody; readonly history: HistoryBody }[]
  readonly ticks: readonly Tick[]
  /** Width of the plot in px, told to whoever makes the ticks. */
  readonly room: Signal<number>
  /** Moves the span; `aboutMs` keeps its place where there is a cursor. */
  readonly onMove: (how: Move, aboutMs: number | null) => void
  /** The same width up to the present. */
  readonly onNow: () => void
  readonly children: ComponentChildren
}

/** Place in the span, per cent. */
export const share = (ms: number, span: Span): number => Math.max(0, Math.min(100, (100 * (ms - span.fromMs)) / (span.toMs - span.fromMs)))

const MOVES: Readonly<Record<string, Move>> = { '+': 'closer', '=': 'closer', '-': 'wider', PageUp: 'earlier', PageDown: 'later' }

export function CursorStage({ cursor, span, zone, stepMs, all, ticks, room, onMove, onNow, children }: Props) {
  const axis = useRef<HTMLDivElement>(null)
  const said = useSignal('')
  useEffect(() => {
    const el = axis.current
    if (!el) return
    const watcher = new ResizeObserver(() => (room.value = el.clientWidth))
    watcher.observe(el)
    return () => watcher.disconnect()
  }, [])
  const onKey = (e: KeyboardEvent): void => {
    if (e.ctrlKey || e.metaKey || e.altKey) return
    const how = MOVES[e.key]
    if (how !== undefined || e.key === '0') {
      e.preventDefault()
      if (how === undefined) onNow()
      else onMove(how, how === 'closer' || how === 'wider' ? cursor.value : null)
      return
    }
    const at = cursor.value ?? span.toMs
    const step = stepMs * (e.shiftKey ? 10 : 1)
    const next = { ArrowLeft: at - step, ArrowRight: at + step, Home: span.fromMs, End: span.toMs }[e.key]
    if (next === undefined && e.key !== 'Escape') return
    e.preventDefault()
    cursor.value = next === undefined ? null : Math.max(span.fromMs, Math.min(span.toMs, next))
    const ms = cursor.value
    said.value =
      ms === null
        ? ''
        : `${clock(ms, zone)}: ${all
            .map(({ signal: s, history }) => {
              const v = meanAt(history, ms, s.reportEveryMs)
              return `${s.name} ${v === null ? 'no reading' : measured(v, s.digits, s.unitSpoken)}`
            })
            .join('; ')}`
  }
  return (
    <div
      class="stage"
      tabIndex={0}
      role="group"
      aria-label="Trends. Left and right arrow move a cursor by one span of the drawing, with shift by ten; escape lets it go. Plus and minus look closer and wider, page up and page down earlier and later, nought goes back to now."
      onKeyDown={onKey}
    >
      {children}
      <div class="axisRow">
        <div class="axis" ref={axis} aria-hidden="true">
          {ticks.map((t) => (
            <Placed key={t.ms} at={share(t.ms, span)} cls="timeTick">
              {t.text.split('\n').map((line) => (
                <span key={line}>{line}</span>
              ))}
            </Placed>
          ))}
          <span class="zone">{offset(span.toMs, zone)}</span>
        </div>
      </div>
      <div class="cursorBox" aria-hidden="true">
        <CursorLine cursor={cursor} span={span} zone={zone} />
      </div>
      <p class="vh" role="status">
        {said}
      </p>
    </div>
  )
}

/** Something standing at a place in the span. The place is set by script: the content policy allows no style in the page's text. */
export function Placed({ at, cls, children }: { at: number; cls: string; children?: ComponentChildren }) {
  return (
    <div class={cls} style={{ left: `${at}%` }}>
      {children}
    </div>
  )
}

function CursorLine({ cursor, span, zone }: { cursor: Signal<number | null>; span: Span; zone: string }) {
  const line = useRef<HTMLDivElement>(null)
  const tab = useRef<HTMLSpanElement>(null)
  // Moved directly: the pointer asks for sixty places a second, and nothing else has to be drawn anew for that.
  useSignalEffect(() => {
    const ms = cursor.value
    if (!line.current || !tab.current) return
    line.current.hidden = ms === null
    if (ms === null) return
    line.current.style.left = `${share(ms, span)}%`
    tab.current.textContent =
      span.toMs - span.fromMs <= 4 * 3_600_000 ? clockSeconds(ms, zone) : span.toMs - span.fromMs > 36 * 3_600_000 ? `${day(ms, zone)} ${clock(ms, zone)}` : clock(ms, zone)
  })
  return (
    <div class="cursorLine" ref={line} hidden>
      <span ref={tab} />
    </div>
  )
}
