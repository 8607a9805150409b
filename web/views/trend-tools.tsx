/** Span and movement of a trend, its signals, and the ways to take its figures away. */
import type { Signal } from '@preact/signals'
import type { HistoryBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import { csv, moved, SPANS, type Span } from '../state/trend.ts'
import { age, moment, offset } from '../words/times.ts'
import { UnitChoice } from './unit-choice.tsx'

interface Props {
  readonly loop: LoopDetailBody
  readonly span: Span
  readonly follows: boolean
  readonly firstMs: number | null
  readonly all: readonly { readonly signal: SignalBody; readonly history: HistoryBody }[]
  readonly asTable: Signal<boolean>
  /** Lines and steps over the lanes. */
  readonly courses: Signal<boolean>
  /** A width in ms follows the present; a span stands still. */
  readonly show: (next: Span | number) => void
}

const MOVES = [
  ['earlier', 'Earlier'],
  ['later', 'Later'],
  ['closer', 'Closer'],
  ['wider', 'Wider'],
] as const

export function TrendTools({ loop, span, follows, firstMs, all, asTable, courses, show }: Props) {
  const nowMs = now.peek()
  const width = span.toMs - span.fromMs
  const save = (): void => {
    const a = document.createElement('a')
    a.href = URL.createObjectURL(new Blob([`\ufeff${csv(all, (ms) => new Date(ms).toISOString())}`], { type: 'text/csv' }))
    a.download = `${loop.id}.csv`
    a.click()
    URL.revokeObjectURL(a.href)
  }
  return (
    <div class="tools">
      <div class="grp" role="group" aria-label="Span up to now">
        {SPANS.map(([word, ms]) => (
          <button key={word} type="button" class="btn" aria-pressed={follows && width === ms} onClick={() => show(ms)}>
            {word}
          </button>
        ))}
        <button type="button" class="btn" onClick={() => firstMs !== null && show({ fromMs: firstMs, toMs: now.peek() })}>
          all
        </button>
      </div>
      <div class="grp" role="group" aria-label="Move">
        {MOVES.map(([how, word]) => (
          <button key={how} type="button" class="btn" onClick={() => show(moved(span, how, now.peek()))}>
            {word}
          </button>
        ))}
      </div>
      <div class="grp apart">
        <button type="button" class="btn" aria-pressed={courses.value} onClick={() => (courses.value = !courses.value)}>
          Drift and steps
        </button>
        <button type="button" class="btn" aria-pressed={asTable.value} onClick={() => (asTable.value = !asTable.value)}>
          As a table
        </button>
        <button type="button" class="btn" onClick={save}>
          Save CSV
        </button>
      </div>
      <p>
        <b>
          {moment(span.fromMs, loop.zone, nowMs)} to {follows ? 'now' : moment(span.toMs, loop.zone, nowMs)}
        </b>
        , {age(width)}, site time {offset(span.toMs, loop.zone)}
      </p>
      <UnitChoice />
    </div>
  )
}

export function SignalChooser({ loop, shownIds, onChange }: { loop: LoopDetailBody; shownIds: readonly string[]; onChange: (ids: readonly string[]) => void }) {
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
