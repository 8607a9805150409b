/** What can hurt, with its figures, and the rule that closes every list of cautions. */
import type { AlarmBody } from '../../server/wire.ts'

export function Hazards({ cautions, title = 'Can hurt', most = 20 }: { cautions: AlarmBody['cautions']; title?: string; most?: number }) {
  if (cautions.length === 0) return null
  // The closing rule is the last of every list, and is never cut off.
  const shown = cautions.length > most + 1 ? [...cautions.slice(0, most), ...cautions.slice(-1)] : cautions
  return (
    <div class="hurt">
      <b>{title}</b>
      {shown.map((c) => (
        <p key={c.id}>
          <b>{c.title}.</b> {c.text}
          {c.figures && <span class="figures"> {c.figures}</span>}
        </p>
      ))}
    </div>
  )
}
