/**
 * How a yard comes to an air-off test: the only way to know how fast the biology breathes. Said here and done there, by a timer of the
 * yard's own; nothing on this page stops or starts a machine. Rules of the test: common practice, no source.
 */
import type { LoopDetailBody } from '../../server/wire.ts'
import { Hazards } from './hazard.tsx'

const CAN_HURT = ['h2s', 'confined-space', 'lockout', 'electricity', 'closing']

export function AirOffGuide({ body }: { body: LoopDetailBody }) {
  const tanks = body.stages.filter((s) => (s.kind === 'treatment' || s.kind === 'bio') && body.signals.some((x) => x.quantity === 'do' && x.stage === s.id))
  if (tanks.length === 0) return null
  const cautions = body.hazards.filter((c) => CAN_HURT.includes(c.id))
  return (
    <details class="guide">
      <summary>How an air-off test is made here</summary>
      <p>
        While the air runs, oxygen shows demand against supply and never how fast the biology breathes. A short stop of the air does, in{' '}
        {tanks.map((t) => t.name.toLocaleLowerCase()).join(', ')}. Every stop nobody planned counts as well, if it is clean.
      </p>
      <ul>
        <li>A local timer stops the air, not this page: 10 to 20 min at a quiet hour, four hours or more after the last wash.</li>
        <li>A local stop at 1 mg/L oxygen ends the test early, and the air comes back by itself whatever else fails.</li>
        <li>Nothing flows in meanwhile. The fall should be 0.5 mg/L or more, seen in eight readings or more, before oxygen is below 1 mg/L; the first two minutes are left out.</li>
        <li>
          A clean optical probe follows within 30 to 60 s, a fouled one within minutes. Without air the tank settles and is no longer mixed, so a longer stop tells less, not more.
        </li>
        <li>A fall too small to see is a result too: the uptake is below what the page then says.</li>
      </ul>
      <Hazards cautions={cautions} />
    </details>
  )
}
