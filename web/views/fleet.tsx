/** The fleet: is anything wrong, where, who has it. */
import { useComputed, useSignal } from '@preact/signals'
import { useRef } from 'preact/hooks'
import type { LoopBody } from '../../server/wire.ts'
import { to } from '../router.ts'
import { areas, count, fieldForm, groupOf, heldOrder, needs, type Group, type Need } from '../state/fleet.ts'
import { markOf, worst } from '../state/mark.ts'
import { answer, facts, ringSentence } from '../state/sentence.ts'
import { allLoops, heard, now, told } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { age, clock, moment, ownZone } from '../words/times.ts'
import { SAY } from '../words/words.ts'
import { Badge, Ring, Shape } from './ring.tsx'

const MARKED = ['A', 'B', 'C', 'W'] as const

export function FleetPage() {
  const filter = useSignal<Group | null>(null)
  const loops = allLoops.value
  document.title = 'Fleet · Loopkeeper'
  if (!told.value) return <Waiting />
  if (loops.length === 0) return <Empty />
  return (
    <main id="main">
      <h1 class="vh">Fleet</h1>
      <CountBar loops={loops} filter={filter.value} pick={(g) => (filter.value = filter.value === g ? null : g)} />
      <div class="split">
        <NeedList loops={loops} filter={filter.value} />
        <Field loops={loops} filter={filter.value} />
      </div>
    </main>
  )
}

const Waiting = () => (
  <main id="main" class="plain" aria-busy="true">
    <h1 class="title">Fleet</h1>
    <p class="mute">Asking the server.</p>
  </main>
)

const QUIET_LOOP: LoopBody = {
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
  stages: (['pad', 'sump', 'filter', 'treatment', 'bio', 'bio', 'finished', 'washer'] as const).map((kind, i) => ({ id: String(i), kind, name: '', volumeL: null })),
}

const Empty = () => (
  <main id="main" class="plain">
    <Ring loop={QUIET_LOOP} nowMs={0} />
    <h1 class="title">No loops yet</h1>
    <p>
      Put a site file into the folder of site files and start the gateway again. README shows one of 20 lines under “Your own loop”; the health page names files that could not be
      read.
    </p>
  </main>
)

function CountBar({ loops, filter, pick }: { loops: readonly LoopBody[]; filter: Group | null; pick: (g: Group) => void }) {
  const c = count(loops)
  const parts = [c.silent > 0 ? `${c.silent} silent` : '', c.doubtful > 0 ? `${c.doubtful} with doubtful data` : ''].filter(Boolean)
  return (
    <div class="counts" role="group" aria-label="Loops by what they need. Each loop is counted once, under its worst. Press one to see only those.">
      {MARKED.map((g) => (
        <button key={g} type="button" aria-pressed={filter === g} onClick={() => pick(g)}>
          <Badge mark={{ letter: g, answered: g === 'W', line: g === 'W' ? 'whole' : 'broken' }} />
          <b>{figure(c.groups[g].loops, 0)}</b>
          <span>
            {SAY[g]}
            <br />
            {g !== 'W' && c.groups[g].loops > 0 ? `${c.groups[g].unanswered} unanswered` : '\u00a0'}
          </span>
        </button>
      ))}
      <button type="button" aria-pressed={filter === 'quiet'} onClick={() => pick('quiet')}>
        <Ring loop={QUIET_LOOP} nowMs={0} />
        <b>{figure(c.groups.quiet.loops, 0)}</b>
        <span>
          {heard.value.state === 'lost' ? 'quiet, when last heard' : 'quiet'}
          <br />
          {'\u00a0'}
        </span>
      </button>
      <p class="rest">
        {c.total === 1 ? '1 loop' : `${figure(c.total, 0)} loops, each counted once under its worst.`}
        {parts.length > 0 && <br />}
        {parts.join(', ')}
      </p>
    </div>
  )
}

function NeedList({ loops, filter }: { loops: readonly LoopBody[]; filter: Group | null }) {
  /** Ids in the order they stood when the pointer or focus came in, or the list was frozen. */
  const held = useSignal<readonly string[] | null>(null)
  const frozenMs = useSignal<number | null>(null)
  const list = useRef<HTMLElement>(null)
  const all = needs(loops)
  const wanted = all.filter((n) => filter === null || groupOf(n.loop) === filter || (n.alarm?.priority === 'high' && !markOf(n.alarm).answered))
  const { rows, waiting } = heldOrder(held.value, wanted)
  const hiddenA = 0
  const watch = loops.filter((l) => groupOf(l) === 'W').length
  const hold = (): void => {
    held.value ??= wanted.map((n) => n.id)
  }
  const release = (): void => {
    if (frozenMs.value === null) held.value = null
  }
  const freeze = (): void => {
    if (frozenMs.value === null) {
      frozenMs.value = now.value
      held.value = wanted.map((n) => n.id)
    } else {
      frozenMs.value = null
      held.value = null
    }
  }
  return (
    <section
      aria-label="Loops that need someone"
      ref={list}
      onPointerEnter={(e) => e.pointerType === 'mouse' && hold()}
      onPointerLeave={release}
      onFocusIn={hold}
      onFocusOut={(e) => !list.current?.contains(e.relatedTarget as Node | null) && release()}
    >
      <div class="bar">
        <h2>Need someone</h2>
        <span class="mute">
          {frozenMs.value === null ? 'unanswered, then priority, then newest' : `frozen since ${clock(frozenMs.value, ownZone())}`}
          {waiting > 0 && `, ${waiting} new`}
        </span>
        <button type="button" class="btn" aria-pressed={frozenMs.value !== null} onClick={freeze}>
          Freeze list
        </button>
      </div>
      {rows.length === 0 && (
        <p class="nobody">
          <b>Nobody is needed.</b> {filter !== null && all.length > 0 ? 'Not among these; the filter above hides the rest.' : 'No loop has an alarm that asks for a person.'}
        </p>
      )}
      {rows.map((n) => (n.form === 'full' ? <FullRow key={n.id} need={n} /> : <SlimRow key={n.id} need={n} />))}
      <p class="links">
        {watch > 0 && <a href="/alarms">{watch} to watch</a>}
        {hiddenA > 0 && <b>{hiddenA} hidden A</b>}
      </p>
    </section>
  )
}

function FullRow({ need: { loop, alarm, more } }: { need: Need }) {
  if (!alarm) return null
  const nowMs = now.value
  return (
    <a class="call" href={to.alarm(alarm.id)}>
      <Ring loop={loop} nowMs={nowMs} />
      <div>
        <h3>
          <b>{loop.name}</b>
        </h3>
        <p class="what">{alarm.what}</p>
        <p class="fact">{facts(alarm, nowMs)}</p>
        <p class="who">
          {answer(alarm, nowMs)}
          {more > 0 && ` And ${more} more.`}
        </p>
      </div>
      <Left alarm={alarm} nowMs={nowMs} />
    </a>
  )
}

/** Time to respond that is left; the figure leads, what it rests on follows. */
function Left({ alarm, nowMs }: { alarm: NonNullable<Need['alarm']>; nowMs: number }) {
  if (alarm.state === 'returned' || alarm.raisedMs === null)
    return <div class="left">{alarm.clearedMs !== null && <span>since {moment(alarm.clearedMs, alarm.zone, nowMs)}</span>}</div>
  const leftMin = alarm.respondWithinMin - (nowMs - alarm.raisedMs) / 60_000
  return (
    <div class="left">
      <b>{leftMin > 0 ? age(leftMin * 60_000) : 'now'}</b>
      <span>{leftMin > 0 ? 'to respond' : `over by ${age(-leftMin * 60_000)}`}</span>
    </div>
  )
}

function SlimRow({ need: { loop, alarm } }: { need: Need }) {
  const nowMs = now.value
  const quiet = alarm === null
  return (
    <a class="slim" href={quiet ? to.loop(loop.id) : to.alarm(alarm.id)}>
      {quiet ? <Ring loop={loop} nowMs={nowMs} /> : <Badge mark={markOf(alarm)} />}
      <p>
        <b>{loop.name}</b>{' '}
        {quiet
          ? `Silent for ${loop.heardMs === null ? 'ever: nothing heard yet' : age(nowMs - loop.heardMs)}. Alarm states held.`
          : `${alarm.what}${alarm.value === null ? '.' : `, ${facts(alarm, nowMs)}.`}`}
      </p>
      <div class="left">{quiet ? '' : alarm.acknowledgedBy !== null ? alarm.acknowledgedBy : alarm.state === 'returned' ? 'back to normal' : 'unanswered'}</div>
    </a>
  )
}

function Field({ loops, filter }: { loops: readonly LoopBody[]; filter: Group | null }) {
  const groups = useComputed(() => areas(allLoops.value))
  const form = fieldForm(loops.length)
  const nowMs = form === 'beads' ? 0 : now.value
  const faint = (l: LoopBody): string => (filter !== null && groupOf(l) !== filter ? ' faint' : '')
  return (
    <section aria-label="All loops">
      <div class="bar">
        <h2>All loops</h2>
        <span class="mute">fixed places, by area</span>
      </div>
      {groups.value.map(({ area, loops: here }) => (
        <div key={area} class="areaBlock">
          <div class="area">
            <h3>{area}</h3>
            <span>{here.length === 1 ? '1 loop' : `${figure(here.length, 0)} loops`}</span>
          </div>
          <div class={`field ${form}`}>
            {here.map((l) =>
              form === 'beads' ? (
                <BeadLink key={l.id} loop={l} faint={faint(l)} />
              ) : (
                <a key={l.id} class={`cell${hot(l)}${faint(l)}`} href={to.loop(l.id)} aria-label={ringSentence(l, nowMs)} title={form === 'small' ? l.name : undefined}>
                  <Ring loop={l} nowMs={nowMs} lost={heard.value.state === 'lost'} />
                  {form !== 'small' && <span>{l.name}</span>}
                  {form === 'large' && <span class="lv-text">{l.waterPct === null || l.silent ? '' : `water ${Math.round(l.waterPct)}\u00a0%`}</span>}
                </a>
              ),
            )}
          </div>
        </div>
      ))}
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

const hot = (l: LoopBody): string => (['A', 'B'].includes(groupOf(l)) ? ' hot' : '')

/** Over 400 loops: a bead each, its size by how soon it hurts. */
function BeadLink({ loop, faint }: { loop: LoopBody; faint: string }) {
  const w = worst(loop)
  const m = w ? markOf(w) : null
  const size = m ? { A: 24, B: 22, C: 15, W: 13 }[m.letter] : 10
  return (
    <a class={`bead${faint}`} href={to.loop(loop.id)} aria-label={ringSentence(loop, now.peek())} title={loop.name}>
      <svg width="24" height="24" viewBox="0 0 24 24" aria-hidden="true">
        {m ? (
          <g class={`${m.letter} ${m.answered || m.letter === 'W' ? 'ack' : 'un'}`}>
            <Shape letter={m.letter} x={12 - size / 2} y={12 - size / 2} width={size} />
          </g>
        ) : (
          <circle class={`b-quiet${loop.silent ? ' b-silent' : ''}${loop.doubtful.length > 0 ? ' b-doubt' : ''}`} cx="12" cy="12" r="5" />
        )}
      </svg>
    </a>
  )
}
