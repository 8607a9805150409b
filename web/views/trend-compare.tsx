/** What the span is compared with: another time of the same signals, two raises of one alarm, or another loop. */
import { useSignal } from '@preact/signals'
import type { LoopDetailBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import type { Compare, RaisePair } from '../state/trend-compare.ts'
import type { Span } from '../state/trend.ts'
import { atWall, wallText } from '../state/wall-time.ts'
import { moment } from '../words/times.ts'
import { LoopChoice } from './trend-choose.tsx'

interface Props {
  readonly loop: LoopDetailBody
  readonly span: Span
  readonly compare: Compare | null
  /** Name of what is compared; empty: nothing. */
  readonly name: string
  readonly pairs: readonly RaisePair[]
  readonly onChange: (next: Compare | null) => void
}

export function CompareChooser({ loop, span, compare, name, pairs, onChange }: Props) {
  const wrong = useSignal('')
  const zone = loop.zone
  const at = compare?.kind === 'from' ? compare.fromMs : span.fromMs - 7 * 86_400_000
  const raised = compare?.kind === 'raise' ? `${compare.hereMs}:${compare.thereMs}` : ''
  const take = (text: string): void => {
    const ms = atWall(text, zone)
    wrong.value = ms === null ? 'That is no date and time.' : ms >= now.peek() ? 'That time has not come yet: choose one that has passed.' : ''
    if (ms !== null && wrong.value === '') onChange({ kind: 'from', fromMs: ms })
  }
  return (
    <details class="chooser compare">
      <summary class="btn">{name === '' ? 'Compare' : `Compared: ${name}`}</summary>
      <div class="panel">
        <div class="grp" role="group" aria-label="Compare with">
          {(
            [
              ['Nothing', null],
              ['A day earlier', 1],
              ['A week earlier', 7],
            ] as const
          ).map(([word, days]) => (
            <button
              key={word}
              type="button"
              class="btn"
              aria-pressed={days === null ? compare === null : compare?.kind === 'days' && compare.days === days}
              onClick={() => onChange(days === null ? null : { kind: 'days', days })}
            >
              {word}
            </button>
          ))}
        </div>
        <label class="line">
          A span that begins at
          <input type="datetime-local" value={wallText(at, zone)} max={wallText(now.peek(), zone)} onChange={(e) => take(e.currentTarget.value)} />
        </label>
        {wrong.value && <p class="refused">{wrong.value}</p>}
        <label class="line">
          Laid over an earlier raise
          <select
            value={raised}
            onChange={(e) => {
              const p = pairs.find((x) => `${x.hereMs}:${x.thereMs}` === e.currentTarget.value)
              if (p) onChange({ kind: 'raise', hereMs: p.hereMs, thereMs: p.thereMs })
            }}
          >
            <option value="">{pairs.length === 0 ? 'no alarm of this span was raised before' : 'choose a raise'}</option>
            {pairs.map((p) => (
              <option key={`${p.what}${p.hereMs}:${p.thereMs}`} value={`${p.hereMs}:${p.thereMs}`}>
                {p.what}, {moment(p.hereMs, zone, now.peek())}: as at {moment(p.thereMs, zone, now.peek())}
              </option>
            ))}
          </select>
        </label>
        <LoopChoice label="Another loop" chosen={compare?.kind === 'loop' ? compare.site : ''} home={loop.id} onChoose={(site) => onChange({ kind: 'loop', site })} />
      </div>
    </details>
  )
}
