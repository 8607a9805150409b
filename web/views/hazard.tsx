/** What can hurt: what to tell the person who stands there, in full; the figures and where they come from behind a press. */
import type { AlarmBody } from '../../server/wire.ts'

interface Props {
  readonly cautions: AlarmBody['cautions']
  readonly title?: string
  /** Texts shown at most; the others by their titles. The closing rule is always shown. */
  readonly most?: number
  /** Say all titles first, in one line, for who reads no further. */
  readonly titles?: boolean
}

export function Hazards({ cautions, title = 'Can hurt', most = 20, titles = false }: Props) {
  if (cautions.length === 0) return null
  // The closing rule is the last of every list, and is never cut off.
  const shown = cautions.length > most + 1 ? [...cautions.slice(0, most), ...cautions.slice(-1)] : cautions
  const others = cautions.filter((c) => !shown.includes(c))
  const figures = shown.filter((c) => c.figures)
  return (
    <div class="hurt">
      <b>
        {titles
          ? `${title}: ${cautions
              .slice(0, -1)
              .map((c) => c.title.toLocaleLowerCase())
              .join(', ')}`
          : title}
      </b>
      {shown.map((c) => (
        <p key={c.id}>
          <b>{c.title}.</b> {c.text}
        </p>
      ))}
      {others.length > 0 && <p>Also here: {others.map((c) => c.title.toLocaleLowerCase()).join(', ')}.</p>}
      {figures.length > 0 && (
        <details>
          <summary>Figures and where they are from</summary>
          {figures.map((c) => (
            <p key={c.id} class="figures">
              <b>{c.title}.</b> {c.figures} {c.source && `Source: ${c.source}.`}
            </p>
          ))}
        </details>
      )}
    </div>
  )
}
