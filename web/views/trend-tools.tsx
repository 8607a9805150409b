/** Span and movement of a trend, whose clock it is told by, and the ways to take it away. */
import type { LoopDetailBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import type { View } from '../state/trend-view.ts'
import { moved, SPANS, zoneWords, type Span } from '../state/trend.ts'
import { age, moment, ownZone } from '../words/times.ts'
import { UnitChoice } from './unit-choice.tsx'

interface Props {
  /** Its zone is the one times are told in. */
  readonly loop: LoopDetailBody
  readonly siteZone: string
  readonly span: Span
  readonly follows: boolean
  readonly firstMs: number | null
  readonly view: View
  readonly change: (next: Partial<View>) => void
}

const MOVES = [
  ['earlier', 'Earlier'],
  ['later', 'Later'],
  ['closer', 'Closer'],
  ['wider', 'Wider'],
] as const

export function TrendTools({ loop, siteZone, span, follows, firstMs, view, change }: Props) {
  const nowMs = now.peek()
  const width = span.toMs - span.fromMs
  return (
    <div class="tools">
      <div class="grp" role="group" aria-label="Span up to now">
        {SPANS.map(([word, ms]) => (
          <button key={word} type="button" class="btn" aria-pressed={follows && width === ms} onClick={() => change({ span: ms })}>
            {word}
          </button>
        ))}
        <button type="button" class="btn" onClick={() => firstMs !== null && change({ span: { fromMs: firstMs, toMs: now.peek() } })}>
          all
        </button>
      </div>
      <div class="grp" role="group" aria-label="Move">
        {MOVES.map(([how, word]) => (
          <button key={how} type="button" class="btn" onClick={() => change({ span: moved(span, how, now.peek()) })}>
            {word}
          </button>
        ))}
      </div>
      <div class="grp apart">
        <button type="button" class="btn" aria-pressed={!follows} onClick={() => change({ span: follows ? span : width })}>
          Hold still
        </button>
        <button type="button" class="btn" aria-pressed={view.courses} onClick={() => change({ courses: !view.courses })}>
          Drift and steps
        </button>
        <button type="button" class="btn" aria-pressed={view.figures} onClick={() => change({ figures: !view.figures })}>
          Figures
        </button>
        <button type="button" class="btn" aria-pressed={view.table} onClick={() => change({ table: !view.table })}>
          As a table
        </button>
        {siteZone !== ownZone() && (
          <button type="button" class="btn" aria-pressed={view.mine} onClick={() => change({ mine: !view.mine })}>
            My time
          </button>
        )}
      </div>
      <p>
        <b>
          {moment(span.fromMs, loop.zone, nowMs)} to {follows ? 'now' : moment(span.toMs, loop.zone, nowMs)}
        </b>
        , {age(width)}, {view.mine ? 'your' : 'site'} time {zoneWords(span, loop.zone)}
      </p>
      <UnitChoice />
    </div>
  )
}

interface SaveProps {
  readonly name: string
  /** Address of the single readings shown. */
  readonly readings: string
  /** Of those compared with; null: none. */
  readonly readingsBeside: string | null
  readonly onPicture: () => void
}

export function SaveChooser({ name, readings, readingsBeside, onPicture }: SaveProps) {
  return (
    <details class="chooser">
      <summary class="btn">Save</summary>
      <div class="panel">
        <div class="grp">
          <a class="btn" href={readings} download={`${name}-readings.csv`}>
            Readings as CSV
          </a>
          {readingsBeside && (
            <a class="btn" href={readingsBeside} download={`${name}-readings-compared.csv`}>
              Compared readings as CSV
            </a>
          )}
          <button type="button" class="btn" onClick={onPicture}>
            Picture as PNG
          </button>
          <button type="button" class="btn" onClick={() => print()}>
            Print
          </button>
        </div>
        <p class="mute">Readings: every single one of the signals and the span shown, times in UTC. The address of this page shows the same view to whoever opens it.</p>
      </div>
    </details>
  )
}
