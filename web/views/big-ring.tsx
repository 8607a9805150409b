/** The large ring: the loop drawn to be read. Stages are links in water order; the tables below hold the same facts. */
import type { LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { arcPath, minus, PIPE, place, point, sectorPath, ticksPath, type Arc, type Placed } from '../state/arcs.ts'
import { bubbles } from '../state/bubbles.ts'
import { markOf, outerMarks, worst } from '../state/mark.ts'
import { stageFacts, type StageFacts } from '../state/stage-facts.ts'
import { age, timeLeft } from '../words/times.ts'
import { markClass } from './ring.tsx'

const INNER = 174
const OUTER = 206
const FLOWS: readonly { at: number; after: readonly string[] }[] = [
  { at: 236, after: ['sump'] },
  { at: 270, after: ['filter', 'sump'] },
  { at: 318, after: ['treatment'] },
  { at: 42, after: ['bio', 'treatment'] },
  { at: 134, after: ['finished'] },
]

interface Props {
  readonly detail: LoopDetailBody
  readonly signals: readonly SignalBody[]
  readonly nowMs: number
  readonly lost: boolean
  /** Labels round the ring; without them the drawing fits a phone and the stages are listed below. */
  readonly labels: boolean
  readonly trendOf: (stage: string) => string
}

export function BigRing({ detail, signals, nowMs, lost, labels, trendOf }: Props) {
  const places = place(detail.stages)
  const facts = new Map(places.map((p) => [p.id, stageFacts(detail, p.id, signals, nowMs)]))
  const marks = lost || detail.silent ? [] : outerMarks(detail)
  const gone = marks.filter((m) => m.letter === 'A' && m.opening).map((m) => m.stage)
  const openings = marks.flatMap((m): Arc[] => {
    const at = places.find((p) => p.id === m.stage)
    return m.opening ? [gone.includes(m.stage) && at ? at.arc : m.opening] : []
  })
  const dead = lost || detail.silent
  return (
    <svg
      class={`train${labels ? '' : ' bare'}${dead ? ' dead' : ''}`}
      viewBox={labels ? '0 0 880 650' : '164 54 552 536'}
      role="group"
      aria-label="The loop as a ring; water runs clockwise. The tables below hold the same facts."
    >
      <g transform="translate(440 330)">
        {minus(PIPE, openings).map((a) => (
          <path key={a.from} class={dead ? 'L-pipe dotted' : 'L-pipe'} d={arcPath(a, 190)} />
        ))}
        {places.some((p) => p.kind === 'pad') && <path class="L-foot" d="M-66 189H66" />}
        {!dead &&
          places.map((p) => <Vessel key={p.id} at={p} detail={detail} facts={facts.get(p.id)!} cut={openings} gone={gone.includes(p.id)} doubt={detail.doubtful.includes(p.id)} />)}
        {!dead && FLOWS.filter((f) => places.some((p) => f.after.includes(p.kind))).map((f) => <Chevron key={f.at} at={f.at} on={moves(detail, places, facts, f.after)} />)}
        {!dead && places.some((p) => p.kind === 'finished') && <Scale detail={detail} signals={signals} places={places} covered={marks.map((m) => m.middle)} />}
        {marks.map((m) => {
          const [x, y] = point(m.middle, m.letter === 'A' ? 229 : m.letter === 'B' ? 229 : m.letter === 'C' ? 225 : 224)
          return (
            <g key={m.stage} class={markClass(m)}>
              <path class="sil" transform={`rotate(${m.middle})`} d={BIG[m.letter]} />
              <text
                class="let mid-let"
                x={x}
                y={y + (m.letter === 'A' ? 11 : m.letter === 'W' ? 4.6 : 7)}
                font-size={m.letter === 'A' ? 32 : m.letter === 'B' ? 22 : m.letter === 'C' ? 18 : 13}
              >
                {m.letter}
              </text>
            </g>
          )
        })}
      </g>
      <Centre detail={detail} nowMs={nowMs} lost={lost} />
      {labels &&
        places.map((p) => (
          <Label
            key={p.id}
            at={p}
            facts={facts.get(p.id)!}
            detail={detail}
            href={trendOf(p.id)}
            n={places.filter((x) => x.kind === 'bio').indexOf(p)}
            tanks={places.filter((x) => x.kind === 'bio').length}
          />
        ))}
    </svg>
  )
}

const BIG = {
  A: 'M-33-252Q0-264 33-252L8.5-160Q0-163-8.5-160Z',
  B: 'M-29-213V-220A29 35 0 0 1 29-220V-213Z',
  C: 'M-25-236H25V-214H-25Z',
  W: 'M0-235.5A11.5 11.5 0 0 1 0-212.5A11.5 11.5 0 0 1 0-235.5Z',
} as const

/** Does water move after this stage, as far as the loop can tell. */
function moves(detail: LoopDetailBody, places: readonly Placed[], facts: ReadonlyMap<string, StageFacts>, after: readonly string[]): boolean {
  return (
    places.some((p) => after.includes(p.kind) && facts.get(p.id)?.runs === true) ||
    (after.includes('finished') && places.some((p) => p.kind === 'washer' && facts.get(p.id)?.runs === true))
  )
}

function Chevron({ at, on }: { at: number; on: boolean }) {
  return <path class={on ? 'L-flow on' : 'L-flow'} transform={`rotate(${at}) translate(0 -190)`} d="M-4-7L4 0L-4 7" />
}

function Vessel({ at, detail, facts, cut, gone, doubt }: { at: Placed; detail: LoopDetailBody; facts: StageFacts; cut: readonly Arc[]; gone: boolean; doubt: boolean }) {
  if (gone || at.kind === 'pad') return null
  if (at.kind === 'filter') {
    const paper = detail.consumables.find((c) => c.id === 'paper' || c.unit === 'm')
    const left = facts.value?.kind === 'good' && paper ? Number(facts.value.text.replace(/[^\d.]/g, '')) / paper.full : null
    const angles = Array.from({ length: 14 }, (_, i) => at.arc.from + 1 + i * 1.85)
    const strong = left === null ? 0 : Math.round(left * 14)
    return (
      <>
        <path class="L-pleat" d={ticksPath(angles.slice(0, strong), INNER, OUTER)} />
        <path class="L-pleat off" d={ticksPath(angles.slice(strong), 182, 198)} />
      </>
    )
  }
  const slim = at.kind === 'washer'
  const [inner, outer] = slim ? [182, 198] : [INNER, OUTER]
  const pct = at.kind === 'finished' ? detail.waterPct : at.kind === 'sump' ? detail.sumpPct : null
  const parts = minus(at.arc, cut)
  const share = pct === null ? 0 : ((at.arc.to - at.arc.from) * Math.max(0, Math.min(100, pct))) / 100
  const level: Arc = at.kind === 'finished' ? { from: at.arc.to - share, to: at.arc.to } : { from: at.arc.from, to: at.arc.from + share }
  const top = at.kind === 'finished' ? level.from : level.to
  return (
    <>
      {parts.map((a) => (
        <path key={a.from} class={`L-box${slim && facts.runs ? ' on' : ''}${doubt ? ' doubt' : ''}`} d={sectorPath(a, inner, outer)} />
      ))}
      {pct !== null && !doubt && minus(level, cut).map((a) => <path key={a.from} class={`L-lev ${at.kind === 'finished' ? 'fw' : 'su'}`} d={sectorPath(a, inner, outer)} />)}
      {pct !== null && !doubt && <path class="L-top" d={ticksPath([top], inner, outer)} />}
      {facts.aerated === true && (
        <g class="L-air">
          {bubbles(at.arc, `${detail.id}/${at.id}`, at.kind === 'treatment')
            .filter((b) => !cut.some((c) => inside(b, c)))
            .map((b, i) => (
              <circle key={i} cx={b.x} cy={b.y} r={b.r} />
            ))}
        </g>
      )}
      {slim && facts.runs && <path class="L-spray" d={ticksPath([140, 144.5, 149, 153.5, 158], 212, 232)} />}
    </>
  )
}

const inside = (b: { x: number; y: number }, a: Arc): boolean => {
  const angle = (Math.atan2(b.x, -b.y) * 180) / Math.PI
  return [angle - 360, angle, angle + 360].some((v) => v > a.from && v < a.to)
}

/** Level scale of the finished water with its limits. A figure that a mark covers is left out. */
function Scale({ detail, signals, places, covered }: { detail: LoopDetailBody; signals: readonly SignalBody[]; places: readonly Placed[]; covered: readonly number[] }) {
  const at = (pct: number): number => 130 - (84 * pct) / 100
  const finished = places.find((p) => p.kind === 'finished')
  const limits = signals.find((s) => s.at === finished?.id && s.quantity === 'level')?.limits ?? []
  const free = (angle: number): boolean => !covered.some((c) => Math.abs(c - angle) < 12)
  if (detail.waterPct === null) return null
  return (
    <>
      <path class="L-tick" d={ticksPath([0, 25, 50, 75, 100].map(at).filter(free), 210, 216)} />
      {[0, 50, 100]
        .filter((v) => free(at(v)))
        .map((v) => {
          const [x, y] = point(at(v), 230)
          return (
            <text key={v} class="L-scale" x={x} y={y + 4}>
              {v}
            </text>
          )
        })}
      {limits.map((l) => {
        const [x, y] = point(at(l.value), 156)
        return (
          <g key={l.name}>
            <path class="L-limit" d={ticksPath([at(l.value)], 166, 174)} />
            <text class="L-scale" x={x} y={y + 4}>
              {l.name}
            </text>
          </g>
        )
      })}
    </>
  )
}

/** Inside the ring: the sentence, then what is left, then how old it is. */
function Centre({ detail, nowMs, lost }: { detail: LoopDetailBody; nowMs: number; lost: boolean }) {
  const a = worst(detail)
  const heard = detail.heardMs === null ? 'nothing heard yet' : `read ${age(nowMs - detail.heardMs)} ago`
  if (lost) return <Middle head="Not known" figure="" lines={['the server is not heard']} />
  if (detail.silent) return <Middle head="Silent" figure={detail.heardMs === null ? '–' : age(nowMs - detail.heardMs)} lines={['states held as last heard']} />
  if (a && a.priority !== 'alert' && a.raisedMs !== null) {
    const leftMin = a.respondWithinMin - (nowMs - a.raisedMs) / 60_000
    const still = a.state === 'unacknowledged' || a.state === 'acknowledged'
    if (a.state === 'acknowledged') return <Middle head={a.what} figure={age(nowMs - a.raisedMs)} lines={[`standing, ${a.acknowledgedBy ?? 'somebody'} has it`, heard]} />
    return <Middle head={a.what} figure={!still ? '' : leftMin > 0 ? timeLeft(leftMin) : 'now'} lines={[still ? 'to respond' : 'back to normal', heard]} />
  }
  if (detail.waterMin !== null) return <Middle head="Quiet" figure={timeLeft(detail.waterMin)} lines={['of washing in the tank', heard]} />
  return <Middle head="Quiet" figure="" lines={[heard]} />
}

function Middle({ head, figure, lines }: { head: string; figure: string; lines: readonly string[] }) {
  const rows = wrap(head, 17)
  const top = 330 - 32 - (rows.length - 1) * 30
  return (
    <g class="mid">
      <text y={top}>
        {rows.map((r, i) => (
          <tspan key={i} class="h" x="440" dy={i === 0 ? 0 : 30}>
            {r}
          </tspan>
        ))}
      </text>
      {figure && (
        <text x="440" y="364" class="t">
          {figure}
        </text>
      )}
      {lines.map((l, i) => (
        <text key={l} x="440" y={(figure ? 398 : 340) + i * 24} class="s">
          {l}
        </text>
      ))}
    </g>
  )
}

function wrap(text: string, width: number): string[] {
  const rows: string[] = []
  for (const word of text.split(' ')) {
    const last = rows[rows.length - 1]
    if (last !== undefined && `${last} ${word}`.length <= width) rows[rows.length - 1] = `${last} ${word}`
    else rows.push(word)
  }
  return rows.length > 4 ? [...rows.slice(0, 3), `${rows[3]} …`] : rows
}

/** Label beside a stage: left ones end at the ring, right ones start there. */
function Label({ at, facts, detail, href, n, tanks }: { at: Placed; facts: StageFacts; detail: LoopDetailBody; href: string; n: number; tanks: number }) {
  const alarm = worst({ alarms: detail.alarms.filter((a) => a.stage === at.id && a.state !== 'returned') })
  const letter = alarm ? markOf(alarm).letter : null
  // Only the value that stands in alarm takes its colour, not its neighbour at the same stage.
  const inAlarm = detail.alarms.some((a) => a.signal !== null && a.signal === facts.signal && (a.state === 'unacknowledged' || a.state === 'acknowledged'))
  const usual = labelSpot(at, n, tanks)
  if (!usual) return null
  // A mark stands out of the ring where the label would begin: the sooner it hurts, the further.
  const room = at.kind === 'bio' || at.kind === 'pad' || !letter ? 0 : { A: 44, B: 34, C: 14, W: 0 }[letter]
  const spot = { ...usual, x: usual.x + (usual.side === 'e' ? -room : room * 0.7) }
  const v = facts.value
  return (
    <a href={href}>
      <text class={`lab ${spot.side}${letter ? ` ${letter}` : ''}`} x={spot.x} y={spot.y}>
        <tspan class="n" x={spot.x} dy="0">
          {at.name}
        </tspan>
        {v && (
          <tspan x={spot.x} dy="27">
            <tspan class={`v ${v.kind}${letter && letter !== 'W' && inAlarm ? ' bad' : ''}`}>{v.text}</tspan>{' '}
            <tspan class="u">
              {v.unit} {facts.of}
            </tspan>
          </tspan>
        )}
        {(v?.note ? [v.note.split(':')[0] ?? '', ...facts.lines] : facts.lines).slice(0, 2).map((l, i) => (
          <tspan key={i} x={spot.x} dy={22}>
            {l}
          </tspan>
        ))}
      </text>
    </a>
  )
}

function labelSpot(at: Placed, n: number, tanks: number): { x: number; y: number; side: 'e' | 's' | 'm' } | null {
  switch (at.kind) {
    case 'treatment':
      return { x: 200, y: 222, side: 'e' }
    case 'filter':
      return { x: 206, y: 382, side: 'e' }
    case 'sump':
      return { x: 292, y: 536, side: 'e' }
    case 'pad':
      return { x: 440, y: 560, side: 'm' }
    case 'washer':
      return { x: 590, y: 536, side: 's' }
    case 'finished':
      return { x: 714, y: 306, side: 's' }
    case 'bio': {
      if (tanks === 1) return { x: 440, y: 24, side: 'm' }
      if (tanks === 2) return n === 0 ? { x: 306, y: 58, side: 'e' } : { x: 566, y: 58, side: 's' }
      if (tanks === 3)
        return (
          [
            { x: 282, y: 72, side: 'e' as const },
            { x: 440, y: 24, side: 'm' as const },
            { x: 598, y: 72, side: 's' as const },
          ][n] ?? null
        )
      // Four and more: first and last are labelled here, the others in the table.
      return n === 0 ? { x: 282, y: 72, side: 'e' } : n === tanks - 1 ? { x: 598, y: 72, side: 's' } : null
    }
  }
}
