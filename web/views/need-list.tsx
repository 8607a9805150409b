/** Loops that need someone, most urgent first. Rows keep their places while somebody is in the list. */
import { useSignal } from '@preact/signals'
import { useRef } from 'preact/hooks'
import { to } from '../router.ts'
import { folded, groupOf, heldOrder, needs, type Group, type Need } from '../state/fleet.ts'
import { markOf } from '../state/mark.ts'
import { answer, facts } from '../state/sentence.ts'
import { allLoops, lost, now } from '../state/store.ts'
import { age, clock, momentThere, ownZone, timeLeft } from '../words/times.ts'
import { Badge, Ring } from './ring.tsx'
import { useSetAside } from './set-aside-list.tsx'
import { StateTag } from './state-tag.tsx'

/** Rows before the less urgent ones are only counted: more than anybody reads. */
const MOST_ROWS = 24

export function NeedList({ filter }: { filter: Group | null }) {
  const loops = allLoops.value
  /** Ids in the order they stood when the pointer or focus came in, or the list was frozen. */
  const held = useSignal<readonly string[] | null>(null)
  const frozenMs = useSignal<number | null>(null)
  const whole = useSignal(false)
  const list = useRef<HTMLElement>(null)
  const all = needs(loops)
  // An A nobody has answered is never hidden by a filter.
  const wanted = all.filter((n) => filter === null || groupOf(n.loop) === filter || (n.alarm?.priority === 'high' && !markOf(n.alarm).answered))
  const frozen = frozenMs.value !== null
  const order = heldOrder(held.value, wanted, frozen)
  const { rows, more } = folded(order.rows, whole.value ? Number.POSITIVE_INFINITY : MOST_ROWS)
  const aside = useSetAside()?.alarms.length ?? 0
  const watch = loops.filter((l) => groupOf(l) === 'W').length
  const hold = (): void => {
    held.value ??= wanted.map((n) => n.id)
  }
  const release = (): void => {
    if (!frozen) held.value = null
  }
  const freeze = (): void => {
    held.value = frozen ? null : wanted.map((n) => n.id)
    frozenMs.value = frozen ? null : now.value
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
          {frozen ? `frozen since ${clock(frozenMs.value ?? 0, ownZone())}` : 'unanswered, then priority, then newest'}
          {order.waiting > 0 && `, ${order.waiting} new`}
        </span>
        <button type="button" class="btn" aria-pressed={frozen} onClick={freeze}>
          Freeze list
        </button>
      </div>
      {rows.length === 0 && (
        <p class="nobody">
          <b>Nobody is needed.</b> {filter !== null && all.length > 0 ? 'Not among these; the filter above hides the rest.' : 'No loop has an alarm that asks for a person.'}
        </p>
      )}
      {rows.map((n) => (n.form === 'full' && n.alarm ? <FullRow key={n.id} need={n} /> : <OneLine key={n.id} need={n} />))}
      <p class="links">
        {more.length > 0 && (
          <button type="button" class="btn" onClick={() => (whole.value = true)}>
            Show {more.map(([kind, n]) => `${n} more ${kind}`).join(', ')}
          </button>
        )}
        {watch > 0 && <a href={to.alarms()}>{watch} to watch</a>}
        {aside > 0 && <a href="/alarms?tab=set-aside">{aside} set aside</a>}
      </p>
    </section>
  )
}

function FullRow({ need: { loop, alarm, more } }: { need: Need }) {
  if (!alarm) return null
  const nowMs = now.value
  return (
    <a class="call" href={to.alarm(alarm.id)}>
      <Ring loop={loop} nowMs={nowMs} lost={lost.value} />
      <div>
        <h3>
          <b>{loop.name}</b>
        </h3>
        <p class="what">{alarm.what}</p>
        <p class="fact">{facts(alarm, nowMs)}</p>
        <p class="who">
          {answer(alarm, nowMs)}
          {more > 0 && ` And ${more} more.`} <StateTag loop={loop} nowMs={nowMs} />
        </p>
      </div>
      <Left alarm={alarm} nowMs={nowMs} />
    </a>
  )
}

/** While nobody has answered, the time left to do so leads; afterwards, how long it stands. */
function Left({ alarm: a, nowMs }: { alarm: NonNullable<Need['alarm']>; nowMs: number }) {
  if (a.state !== 'unacknowledged' && a.state !== 'acknowledged')
    return <div class="left">{a.clearedMs !== null && <span>since {momentThere(a.clearedMs, a.zone, nowMs, ownZone())}</span>}</div>
  if (a.raisedMs === null) return <div class="left" />
  const stands = nowMs - a.raisedMs
  const leftMin = a.respondWithinMin - stands / 60_000
  if (a.state === 'acknowledged')
    return (
      <div class="left">
        <b>{age(stands)}</b>
        <span>standing</span>
      </div>
    )
  return (
    <div class="left">
      <b>{leftMin > 0 ? timeLeft(leftMin) : 'now'}</b>
      <span>{leftMin > 0 ? 'to respond' : `over by ${age(-leftMin * 60_000)}`}</span>
    </div>
  )
}

function OneLine({ need: { loop, alarm } }: { need: Need }) {
  const nowMs = now.value
  if (!alarm)
    return (
      <a class="slim" href={to.loop(loop.id)}>
        <Ring loop={loop} nowMs={nowMs} />
        <p>
          <b>{loop.name}</b> {loop.heardMs === null ? 'Never heard yet.' : `Silent for ${age(nowMs - loop.heardMs)}. Alarm states held.`}
        </p>
        <div class="left" />
      </a>
    )
  return (
    <a class="slim" href={to.alarm(alarm.id)}>
      <Badge mark={markOf(alarm)} />
      <p>
        <b>{loop.name}</b> {alarm.what}
        {alarm.limit === null || alarm.value === null ? '.' : `, ${facts(alarm, nowMs)}.`} <StateTag loop={loop} nowMs={nowMs} />
      </p>
      <div class="left">{alarm.acknowledgedBy ?? (alarm.state === 'returned' ? 'back to normal' : 'unanswered')}</div>
    </a>
  )
}
