/** Head of every page: mark, places, time, and how fresh it all is. The drop steps with every message of the server. */
import { useSignal } from '@preact/signals'
import { here, to } from '../router.ts'
import { point } from '../state/arcs.ts'
import { heard, now } from '../state/store.ts'
import { age, clock, day, offset, ownZone } from '../words/times.ts'

const PLACES = [
  ['Fleet', to.fleet(), ''],
  ['Alarms', to.alarms(), 'alarms'],
  ['Trends', '/trends', 'trends'],
  ['Due', to.due(), 'due'],
  ['Intake', to.intake(), 'intake'],
  ['Setup', to.setup(), 'setup'],
  ['Health', to.health(), 'health'],
] as const

export function Head() {
  const open = useSignal(false)
  const page = here.value.path[0] ?? ''
  const current = page === 'loops' || page === 'log' || page === 'rules' ? '' : page
  return (
    <header class="top">
      <a class="brand" href="/">
        <ProductMark />
        Loopkeeper
      </a>
      <button type="button" class="btn menu" aria-expanded={open.value} aria-controls="places" onClick={() => (open.value = !open.value)}>
        Menu
      </button>
      <nav id="places" aria-label="Main" class={open.value ? 'shown' : ''} onClick={() => (open.value = false)}>
        {PLACES.map(([word, address, id]) => (
          <a key={id} href={address} aria-current={id === current ? 'page' : undefined}>
            {word}
          </a>
        ))}
      </nav>
      <div class="right">
        <Clock />
        <HeardAge />
      </div>
    </header>
  )
}

const stillness = matchMedia('(prefers-reduced-motion: reduce)')

function ProductMark() {
  const { state, messages } = heard.value
  // Who asked for less motion gets a drop that stands still; the age beside it says the same.
  const [x, y] = point(45 + (stillness.matches ? 0 : (messages % 12) * 30), 22)
  return (
    <svg viewBox="0 0 64 64" aria-hidden="true">
      <circle class="b-ring" cx="32" cy="31" r="22" pathLength={138} />
      <path class="b-foot" d="M20 57H44" />
      {state === 'live' && <circle class="b-drop" cx={32 + x} cy={31 + y} r="7.5" />}
    </svg>
  )
}

function Clock() {
  const zone = ownZone()
  return (
    <span class="time">
      <b>
        {day(now.value, zone)} {clock(now.value, zone)}
      </b>{' '}
      {offset(now.value, zone)}
    </span>
  )
}

function HeardAge() {
  const { state, serverMs } = heard.value
  return (
    <span class="fresh">
      {serverMs === null ? (
        state === 'lost' ? (
          'server not heard'
        ) : (
          'connecting'
        )
      ) : (
        <>
          {state === 'connecting' && 'connecting again, '}server heard <b>{age(now.value - serverMs)}</b> ago
        </>
      )}
    </span>
  )
}
