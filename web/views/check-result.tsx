/** What runs again after a visit or a power cut, machine by machine: a shape and a word each, air first. */
import type { LoopStateBody } from '../../server/wire.ts'
import { outcomeWords } from '../words/loop-state.ts'
import { clock, moment } from '../words/times.ts'

type Check = LoopStateBody['checks'][number]

export function CheckResult({ check: c, zone, nowMs }: { check: Check; zone: string; nowMs: number }) {
  const missing = c.lines.filter((l) => l.outcome === 'not-seen').length
  const waiting = c.lines.filter((l) => l.outcome === 'not-yet').length
  const sum = missing > 0 ? `${missing} not back` : waiting > 0 ? `${waiting} still to come` : 'all that can be seen runs again'
  const words = `${c.kind === 'visit' ? 'After the visit' : 'After the power cut'}: ${sum}`
  const rows = (
    <>
      <p class="mute">
        Since {moment(c.sinceMs, zone, nowMs)}, compared with {clock(c.fromMs, zone)} to {clock(c.toMs, zone)}.{c.over ? ' Finished.' : ''}
      </p>
      <ul>
        {c.lines.map((l) => (
          <li key={l.id} class={l.outcome}>
            <i aria-hidden="true" />
            <b>{l.name}</b>
            <span>{outcomeWords(l)}</span>
            <small>
              {l.why}
              {l.outcome === 'not-yet' && l.dueMs !== null && `; due by ${clock(l.dueMs, zone)}`}
            </small>
          </li>
        ))}
      </ul>
      {c.atRest.length > 0 && <p class="mute">At rest in that hour, so nothing is expected of them: {c.atRest.join(', ')}.</p>}
    </>
  )
  if (c.over)
    return (
      <details class="check">
        <summary>{words}</summary>
        {rows}
      </details>
    )
  return (
    <div class="check">
      <div role="status">
        <h3>{words}</h3>
      </div>
      {rows}
    </div>
  )
}
