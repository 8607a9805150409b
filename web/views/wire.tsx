/** A line over a signal's span with its limits and the value as a bead. Past a limit the bead becomes the mark. */
import type { SignalBody } from '../../server/wire.ts'
import type { Shown } from '../state/freshness.ts'
import type { Mark } from '../state/mark.ts'
import { markClass, SHAPE } from './ring.tsx'

const WIDTH = 148

/** Without a figure that may be shown there is no bead; an old or doubted one is hollow. */
export function Wire({ signal, mark, shown }: { signal: SignalBody; mark: Mark | null; shown: Shown }) {
  const { limits } = signal
  const value = shown.kind === 'none' ? null : signal.value
  // The span: limits with a quarter of their distance on both sides, and the value always inside.
  const inner = [...limits.map((l) => l.value), ...(value === null ? [] : [value])]
  if (inner.length === 0 || limits.length === 0) return null
  const low = Math.min(...inner)
  const high = Math.max(...inner)
  const room = (high - low || Math.abs(high) || 1) * 0.3
  const from = Math.max(signal.range[0], low - room)
  const to = Math.min(signal.range[1], high + room)
  const x = (v: number): number => Math.round(((v - from) / (to - from || 1)) * (WIDTH - 12)) + 6
  return (
    <svg class="wire" viewBox={`0 0 ${WIDTH} 30`} aria-hidden="true">
      <path class="w" d={`M0 11H${WIDTH}`} />
      {limits.map((l) => (
        <g key={l.name}>
          <path class="lim" d={`M${x(l.value)} 5V17`} />
          {/* Of two names that would touch only the outer one is written; the row says both in words. */}
          {!(l.name.length === 1 && limits.some((o) => o !== l && Math.abs(x(o.value) - x(l.value)) < 13)) && (
            <text x={x(l.value)} y="28">
              {l.name}
            </text>
          )}
        </g>
      ))}
      {value !== null &&
        (mark ? (
          <path class={`sil ${markClass(mark)}`} transform={`translate(${x(value) - 6} 4.6) scale(.5)`} d={SHAPE[mark.letter].d} />
        ) : (
          <circle class={`bead ${shown.kind}`} cx={x(value)} cy="11" r="5" />
        ))}
    </svg>
  )
}
