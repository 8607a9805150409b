/** The fleet: is anything wrong, where, who has it. */
import { useSignal } from '@preact/signals'
import { to } from '../router.ts'
import { fieldPlaces, told, troubles } from '../state/store.ts'
import type { Group } from '../state/fleet.ts'
import { CountBar } from './counts.tsx'
import { Field } from './field.tsx'
import { NeedList } from './need-list.tsx'
import { QUIET_LOOP, Ring } from './ring.tsx'

export function FleetPage() {
  const filter = useSignal<Group | null>(null)
  document.title = 'Fleet · Loopkeeper'
  if (!told.value) return <Waiting />
  // Reads names only: what the loops do is read by the parts that show it, so that one change does not draw the whole page anew.
  if (fieldPlaces.value.length === 0) return <Empty />
  return (
    <main id="main">
      <h1 class="vh">Fleet</h1>
      <OwnTroubles />
      <CountBar filter={filter.value} pick={(g) => (filter.value = filter.value === g ? null : g)} />
      <div class="split">
        <NeedList filter={filter.value} />
        <Field filter={filter.value} />
      </div>
    </main>
  )
}

/** What is wrong with the product itself: a loop that is not watched must not look like a quiet one. */
function OwnTroubles() {
  const [first, ...others] = troubles.value
  if (first === undefined) return null
  return (
    <p class="own">
      <b>Loopkeeper itself:</b> {first} <a href={to.health()}>{others.length === 0 ? 'Health page' : `Health page, ${others.length} more`}</a>
    </p>
  )
}

const Waiting = () => (
  <main id="main" class="plain" aria-busy="true">
    <h1 class="title">Fleet</h1>
    <p class="mute">Asking the server.</p>
  </main>
)

const Empty = () => (
  <main id="main" class="plain">
    <OwnTroubles />
    <Ring loop={QUIET_LOOP} nowMs={0} />
    <h1 class="title">No loops yet</h1>
    <p>
      Put a site file into the folder of site files and start the gateway again. README shows one of 20 lines under “Your own loop”; the health page names files that could not be
      read.
    </p>
  </main>
)
