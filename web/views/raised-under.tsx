/** That the rule of a standing alarm has been changed since it was raised. */
import type { ChangeableBody } from '../../server/wire.ts'
import { FIELD_WORDS, fieldText } from '../words/fields.ts'

/** The standing occurrence was raised under another rule than the one in force. */
export function RaisedUnder({ alarm: { raisedUnder: r, now: n, unit } }: { alarm: ChangeableBody }) {
  if (!r) return null
  const fields = (['limit', 'deadband', 'onDelayMs', 'offDelayMs', 'priority', 'respondWithinMin'] as const).filter((f) => r[f] !== n[f])
  if (fields.length === 0) return null
  return (
    <p class="raisedUnder">
      Raised under another rule than the one in force now:{' '}
      {fields.map((f) => `${(FIELD_WORDS[f] ?? f).toLowerCase()} ${fieldText(f, r[f], unit)}, now ${fieldText(f, n[f], unit)}`).join('; ')}.
    </p>
  )
}
