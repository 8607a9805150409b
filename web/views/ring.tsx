/** The small ring: a loop as it is, read before any colour. Whole: well. Open: trouble there. Dotted: silent. Hollow: doubtful. */
import type { LoopBody } from '../../server/wire.ts'
import { arcPath, minus, PIPE, place, sectorPath, ticksPath, type Arc } from '../state/arcs.ts'
import { markOf, outerMarks, siteWide, worst, type Mark } from '../state/mark.ts'
import { ageMark } from '../words/times.ts'
import type { Letter } from '../words/words.ts'
import { IN_SERVICE } from '../state/in-service.ts'

const C = 32
const R = 23
/** Outline of each mark on a grid of 24, size of its letter, and where that stands. */
export const SHAPE: Readonly<Record<Letter, { d: string; size: number; y: number }>> = {
  A: { d: 'M1 3.6Q12 .4 23 3.6L15.6 21.6Q12 20.6 8.4 21.6Z', size: 13, y: 14.6 },
  B: { d: 'M1.5 19.5V14.5A10.5 11 0 0 1 22.5 14.5V19.5Z', size: 12.5, y: 17.4 },
  C: { d: 'M1.5 7.2H22.5V18.2H1.5Z', size: 11.5, y: 16.7 },
  W: { d: 'M12 4.2A7.8 7.8 0 0 1 12 19.8A7.8 7.8 0 0 1 12 4.2Z', size: 10, y: 15.6 },
}
const OUTER: Readonly<Record<Letter, string>> = {
  A: 'M24-2.4Q32-5 40-2.4L34.2 12.6Q32 11.8 29.8 12.6Z',
  B: 'M22.8 5.8Q23.4-1 32-1Q40.6-1 41.2 5.8Z',
  C: 'M25 .6H39V5.4H25Z',
  W: 'M32-.3A2.9 2.9 0 0 1 32 5.5A2.9 2.9 0 0 1 32-.3Z',
}
const CENTRE: Readonly<Record<Letter, number>> = { A: 31, B: 28, C: 26, W: 21 }
const LINE = { broken: 'M0 27H6.5M17.5 27H24', whole: 'M0 27H24', held: 'M1 27H23', latched: 'M1 27H23M1 23.5V30M23 23.5V30' } as const

export const markClass = (m: Mark): string => `${m.letter} ${m.line === 'aside' ? 'aside' : m.answered || m.letter === 'W' ? 'ack' : 'un'}`

/** A mark with its letter, 24 x 24, placed in the drawing around it. */
export function Shape({ letter, x, y, width }: { letter: Letter; x: number; y: number; width: number }) {
  const s = SHAPE[letter]
  return (
    <g transform={`translate(${x} ${y}) scale(${width / 24})`}>
      <path class="sil" d={s.d} />
      <text class="let" x="12" y={s.y} font-size={s.size}>
        {letter}
      </text>
    </g>
  )
}

/** What is set aside lies small in an open tray, whatever its priority: no outline of a mark that calls, no colour, no line. */
function Tray({ letter }: { letter: Letter }) {
  return (
    <g>
      <path class="tray" d="M2 11V24H22V11" />
      <text class="let" x="12" y="20.5" font-size="11">
        {letter}
      </text>
    </g>
  )
}

/** A mark standing on its line, for lists. */
export function Badge({ mark, fresh = false }: { mark: Mark; fresh?: boolean }) {
  return (
    <svg class={`badge ${markClass(mark)}`} viewBox="0 0 24 30" aria-hidden="true">
      <g class={fresh && !mark.answered ? 'knock' : ''}>{mark.line === 'aside' ? <Tray letter={mark.letter} /> : <Shape letter={mark.letter} x={0} y={2} width={24} />}</g>
      {mark.line !== 'aside' && <path class={`ln ${mark.line}`} d={LINE[mark.line]} />}
    </svg>
  )
}

/** A loop with nothing to tell, for legends and empty pages. */
export const QUIET_LOOP: LoopBody = {
  id: '',
  name: '',
  area: '',
  zone: 'UTC',
  instrumentation: 'normal',
  heardMs: 0,
  silent: false,
  reportEveryMs: 60_000,
  waterPct: 62,
  sumpPct: 45,
  waterMin: null,
  doubtful: [],
  alarms: [],
  state: IN_SERVICE,
  stages: (['pad', 'sump', 'filter', 'treatment', 'bio', 'bio', 'finished', 'washer'] as const).map((kind, i) => ({ id: String(i), kind, name: '', volumeL: null })),
}

const arcs = (all: readonly Arc[], r: number): string => all.map((a) => arcPath(a, r, C, C)).join('')

/** The ring of a loop; `blank`: without an age, for legends. Hidden from screen readers: the link around it says the same in words (state/sentence.ts). */
export function Ring({ loop, nowMs, lost = false, blank = false }: { loop: LoopBody; nowMs: number; lost?: boolean; blank?: boolean }) {
  const top = worst(loop)
  const mark = top ? markOf(top) : null
  if (loop.silent) {
    const wide = siteWide(loop)
    return (
      <svg class="ring" viewBox="0 0 64 64" aria-hidden="true">
        <circle class="dots" cx={C} cy={C} r={R} pathLength={120} />
        <path class="foot" d="M24 54.6H40" />
        <text class="age" x={C} y={C + 4.6}>
          {blank ? '' : loop.heardMs === null ? 'new' : ageMark(Math.max(0, nowMs - loop.heardMs))}
        </text>
        {(wide ?? top) && (
          <g class={markClass(markOf((wide ?? top)!))}>
            <Shape letter={markOf((wide ?? top)!).letter} x={42} y={0} width={22} />
          </g>
        )}
      </svg>
    )
  }
  const places = place(loop.stages)
  const marks = lost ? [] : outerMarks(loop)
  const openings = marks.flatMap((m) => m.opening ?? [])
  const doubt = (id: string): boolean => loop.doubtful.includes(id)
  const cut = (a: Arc): readonly Arc[] => minus(a, openings)
  const level = (a: Arc, pct: number, up: boolean): readonly Arc[] => {
    const share = ((a.to - a.from) * Math.max(0, Math.min(100, pct))) / 100
    return cut(up ? { from: a.from, to: a.from + share } : { from: a.to - share, to: a.to })
  }
  const hollow = places.filter((p) => doubt(p.id) && p.kind !== 'pad')
  const vessels = places.filter((p) => ['treatment', 'bio'].includes(p.kind) && !doubt(p.id))
  const sump = places.find((p) => p.kind === 'sump')
  const finished = places.find((p) => p.kind === 'finished')
  const filter = places.find((p) => p.kind === 'filter')
  const washer = places.find((p) => p.kind === 'washer')
  const ticks = [...(filter ? [245, 253, 261] : []), ...(finished ? [46] : []), ...(washer ? [149] : [])].filter((t) => !openings.some((o) => t > o.from && t < o.to))
  const wide = siteWide(loop)
  return (
    <svg class={`ring${mark && mark.letter !== 'W' ? ' open' : ''}`} viewBox="0 0 64 64" aria-hidden="true">
      <path class="pipe" d={arcs(minus(PIPE, [...openings, ...hollow.map((h) => h.arc)]), R)} />
      <path class="foot" d="M24 54.6H40" />
      <path
        class="band"
        d={arcs(
          vessels.flatMap((v) => cut(v.arc)),
          R,
        )}
      />
      {sump && loop.sumpPct !== null && !doubt(sump.id) && <path class="band" d={arcs(level(sump.arc, loop.sumpPct, true), R)} />}
      {finished && loop.waterPct !== null && !doubt(finished.id) && !lost && <path class="lv" d={arcs(level(finished.arc, loop.waterPct, false), R)} />}
      <path class="fine" d={ticksPath(ticks, 20, 26, C, C)} />
      {hollow.map((h) => (
        <path key={h.id} class="hollow" d={sectorPath(h.arc, 20.4, 25.6, C, C)} />
      ))}
      {marks.map((m) => (
        <path key={m.stage} class={`sil ${markClass(m)}`} transform={`rotate(${m.middle} 32 32)`} d={OUTER[m.letter]} />
      ))}
      {mark && !(wide === top) && (
        <g class={markClass(mark)}>
          <Shape letter={mark.letter} x={C - CENTRE[mark.letter] / 2} y={C - CENTRE[mark.letter] / 2} width={CENTRE[mark.letter]} />
        </g>
      )}
      {wide && (
        <g class={markClass(markOf(wide))}>
          <Shape letter={markOf(wide).letter} x={42} y={0} width={22} />
        </g>
      )}
    </svg>
  )
}
