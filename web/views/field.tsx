/** All loops at fixed places by area, so that people learn them: rings, or beads when there are too many for rings. */
import { useSignal } from '@preact/signals'
import { here, to } from '../router.ts'
import { fieldForm, found, groupOf, type Group } from '../state/fleet.ts'
import { markOf, worst } from '../state/mark.ts'
import { ringSentence } from '../state/sentence.ts'
import { fieldPlaces, loopSignal, lost, now } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { Ring, Shape, markClass } from './ring.tsx'
import { StateTag } from './state-tag.tsx'

interface Spot {
  readonly id: string
  readonly name: string
  readonly area: string
}
const MOST_FOUND = 60

export function Field({ filter }: { filter: Group | null }) {
  const text = useSignal('')
  const areas = fieldPlaces.value
  const total = areas.reduce((sum, a) => sum + a.loops.length, 0)
  const opened = here.value.query.get('area')
  const hits =
    text.value.trim() === ''
      ? null
      : found(
          areas.flatMap((a) => a.loops),
          text.value,
        )
  const beads = fieldForm(total) === 'beads' && hits === null
  const shown = hits ? [{ area: `Found: ${figure(hits.length, 0)}`, loops: hits.slice(0, MOST_FOUND) }] : opened === null ? areas : areas.filter((a) => a.area === opened)
  return (
    <section aria-label="All loops">
      <div class="bar">
        <h2>All loops</h2>
        <span class="mute">{beads && opened === null ? 'fixed places; open an area to see its rings' : 'fixed places, by area'}</span>
        {opened !== null && (
          <a class="btn" href={to.fleet()}>
            All areas
          </a>
        )}
        {total > 30 && (
          <input
            class="find"
            type="search"
            placeholder="Find a loop"
            aria-label="Find a loop by name or area"
            value={text.value}
            onInput={(e) => (text.value = e.currentTarget.value)}
          />
        )}
      </div>
      {beads && opened === null ? (
        <div class="beadAreas">
          {areas.map((a) => (
            <BeadArea key={a.area} area={a.area} spots={a.loops} filter={filter} />
          ))}
        </div>
      ) : (
        shown.map((a) => <RingArea key={a.area} area={a.area} spots={a.loops} form={fieldForm(hits || opened !== null ? a.loops.length : total)} filter={filter} />)
      )}
      {hits?.length === 0 && <p class="nobody">No loop and no area is called so.</p>}
      {hits && hits.length > MOST_FOUND && <p class="mute">The first {MOST_FOUND} are shown: write more of the name.</p>}
      <p class="legend">
        <span>Open ring: trouble at that stage</span>
        <span>Solid mark: nobody has answered</span>
        <span>Dotted: silent</span>
        <span>Hollow: doubtful data</span>
        <span>Blue arc: finished water</span>
      </p>
    </section>
  )
}

const loopsWord = (n: number): string => (n === 1 ? '1 loop' : `${figure(n, 0)} loops`)

function RingArea({ area, spots, form, filter }: { area: string; spots: readonly Spot[]; form: string; filter: Group | null }) {
  return (
    <div class="areaBlock">
      <div class="area">
        <h3>{area}</h3>
        <span>{loopsWord(spots.length)}</span>
      </div>
      <div class={`field ${form === 'beads' ? 'small' : form}`}>
        {spots.map((s) => (
          <Cell key={s.id} id={s.id} form={form} filter={filter} />
        ))}
      </div>
    </div>
  )
}

/** One ring with its own subscription: a changed loop redraws itself and nothing else. */
function Cell({ id, form, filter }: { id: string; form: string; filter: Group | null }) {
  const loop = loopSignal(id)?.value
  if (!loop) return null
  const group = groupOf(loop)
  // Only a silent loop shows an age that steps on.
  const nowMs = loop.silent ? now.value : now.peek()
  const nameless = form === 'small' || form === 'beads'
  return (
    <a
      class={`cell${group === 'A' || group === 'B' ? ' hot' : ''}${filter !== null && group !== filter ? ' faint' : ''}`}
      href={to.loop(id)}
      aria-label={ringSentence(loop, nowMs)}
      title={nameless ? loop.name : undefined}
    >
      <Ring loop={loop} nowMs={nowMs} lost={lost.value} />
      {!nameless && <span>{loop.name}</span>}
      {nameless ? (
        <span class="corner">
          <StateTag loop={loop} nowMs={nowMs} short />
        </span>
      ) : (
        <StateTag loop={loop} nowMs={nowMs} />
      )}
      {form === 'large' && <span class="lv-text">{loop.waterPct === null || loop.silent ? '' : `water ${Math.round(loop.waterPct)}\u00a0%`}</span>}
    </a>
  )
}

const PER_ROW = 20
const STEP = 16
const ROW = 18
const SIZE = { A: 24, B: 22, C: 15, W: 13 } as const

/** An area as beads, the size of each by how soon it hurts. The area is the target: beads are too small for a finger. */
function BeadArea({ area, spots, filter }: { area: string; spots: readonly Spot[]; filter: Group | null }) {
  const loops = spots.flatMap((s) => loopSignal(s.id)?.value ?? [])
  const needing = loops.filter((l) => ['A', 'B'].includes(groupOf(l))).length
  const height = Math.ceil(spots.length / PER_ROW) * ROW
  const marked = loops.flatMap((l, i) => {
    const w = worst(l)
    return w ? [{ l, i, mark: markOf(w) }] : []
  })
  const x = (i: number): number => (i % PER_ROW) * STEP + STEP / 2
  const y = (i: number): number => Math.floor(i / PER_ROW) * ROW + ROW / 2
  const faint = (g: Group): string => (filter !== null && g !== filter ? ' faint' : '')
  return (
    <a class="beadArea" href={`/?area=${encodeURIComponent(area)}`}>
      <h3>
        {area}{' '}
        <span>
          {needing > 0 && <b>{needing === 1 ? '1 needs someone, ' : `${needing} need someone, `}</b>}
          {figure(spots.length, 0)}
        </span>
      </h3>
      <svg viewBox={`0 0 ${PER_ROW * STEP} ${height}`} aria-hidden="true">
        {loops.map((l, i) => {
          const w = worst(l)
          if (w) return null
          return (
            <g key={l.id} class={`bead${faint('quiet')}`}>
              <circle class={l.silent ? 'b-silent' : 'b-quiet'} cx={x(i)} cy={y(i)} r="5" pathLength={l.silent ? 40 : undefined} />
              {l.doubtful.length > 0 && !l.silent && <circle class="b-quiet" cx={x(i)} cy={y(i)} r="2.4" />}
            </g>
          )
        })}
        {marked.map(({ l, i, mark }) => (
          <g key={l.id} class={`${markClass(mark)}${faint(mark.letter)}`}>
            <Shape letter={mark.letter} x={x(i) - SIZE[mark.letter] / 2} y={y(i) - SIZE[mark.letter] / 2} width={SIZE[mark.letter]} />
          </g>
        ))}
      </svg>
    </a>
  )
}
