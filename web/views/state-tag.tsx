/** The state of a loop as a letter in a square and its word; nothing for a loop in service. Overdue is said in the word and by a broken frame. */
import type { LoopBody } from '../../server/wire.ts'
import { STATE_LETTER, stateShort } from '../words/loop-state.ts'

export function StateTag({ loop, nowMs, short = false }: { loop: Pick<LoopBody, 'state' | 'zone'>; nowMs: number; short?: boolean }) {
  const letter = STATE_LETTER[loop.state.is]
  if (letter === null) return null
  const words = stateShort(loop.state, loop.zone, nowMs)
  return (
    <span class={`stateTag${loop.state.overdue ? ' late' : ''}`} title={short ? words : undefined}>
      <b aria-hidden="true">{letter}</b>
      {!short && <span>{words}</span>}
    </span>
  )
}
