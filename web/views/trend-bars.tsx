/** What ran: ink while 1, a thin line while 0, nothing where nothing was heard. */
import type { SignalBody } from '../../server/wire.ts'
import { thinned, type Span } from '../state/trend.ts'
import type { Trends } from './trend-data.ts'

export const WIDE = 1000

export function Bars({ bars, trends, span }: { bars: readonly SignalBody[]; trends: Trends; span: Span }) {
  if (bars.length === 0) return null
  return (
    <div class="bars">
      {bars.map((s) => {
        const h = trends.get(s.id)
        const line = h ? thinned(h, s.reportEveryMs) : null
        const known = (line?.mean ?? []).filter((v) => v !== null)
        const on = known.length === 0 ? null : Math.round((100 * known.reduce((sum, v) => sum + v, 0)) / known.length)
        const word = s.states?.[1] ?? 'on'
        return (
          <div key={s.id} class="barRow">
            <div class="gutter">
              <b>{s.name}</b>
            </div>
            <svg
              class="railBox"
              height="16"
              preserveAspectRatio="none"
              viewBox={`0 0 ${WIDE} 16`}
              role="img"
              aria-label={`${s.name}: ${on === null ? 'no readings' : `${word} ${on} percent of the time`}`}
            >
              {h &&
                line &&
                spans(line, h.bucketMs, s.reportEveryMs, span).map((r) => (
                  <rect key={r.x} class={r.share > 0 ? 'on' : 'off'} x={r.x} width={r.width} y={8 - r.height / 2} height={r.height} />
                ))}
            </svg>
            <span class="railEnd" />
          </div>
        )
      })}
    </div>
  )
}

export interface Run {
  readonly x: number
  readonly width: number
  readonly height: number
  readonly share: number
}

/** Neighbouring spans of one height become one rectangle: a day of a pump is a dozen of them, not six hundred. */
export function spans(line: ReturnType<typeof thinned>, bucketMs: number, reportEveryMs: number, span: Span): readonly Run[] {
  const scale = WIDE / (span.toMs - span.fromMs)
  const out: { x: number; width: number; height: number; share: number }[] = []
  line.at.forEach((ms, i) => {
    const v = line.mean[i]
    if (v === null || v === undefined) return
    const next = line.mean[i + 1] === null ? undefined : line.at[i + 1]
    const from = ms - bucketMs / 2
    const to = next === undefined ? from + Math.max(bucketMs, reportEveryMs) : next - bucketMs / 2
    const x = (from - span.fromMs) * scale
    const end = Math.min(WIDE, (to - span.fromMs) * scale)
    const height = v > 0 ? 11 * Math.max(0.25, Math.min(1, v)) : 1
    const last = out.at(-1)
    if (last && last.height === height && Math.abs(last.x + last.width - x) < 0.01) last.width = end - last.x
    else out.push({ x, width: Math.max(0.5, end - x), height, share: v })
  })
  return out
}
