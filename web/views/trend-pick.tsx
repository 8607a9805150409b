/** Trends without a loop: choose one. */
import { useSignal } from '@preact/signals'
import { to } from '../router.ts'
import { found } from '../state/fleet.ts'
import { fieldPlaces } from '../state/store.ts'

export function PickLoop() {
  const text = useSignal('')
  const areas = fieldPlaces.value.map((a) => ({ area: a.area, loops: found(a.loops, text.value) })).filter((a) => a.loops.length > 0)
  return (
    <main id="main">
      <div class="name">
        <h1>Trends</h1>
        <input
          class="find"
          type="search"
          placeholder="Find a loop"
          aria-label="Find a loop by name or area"
          value={text.value}
          onInput={(e) => (text.value = e.currentTarget.value)}
        />
      </div>
      {areas.length === 0 && <p class="mute">{text.value === '' ? 'No loops yet.' : 'No loop and no area is called so.'}</p>}
      <div class="pick">
        {areas.map((a) => (
          <section key={a.area}>
            <h2 class="sec">{a.area}</h2>
            <ul>
              {a.loops.map((l) => (
                <li key={l.id}>
                  <a href={to.trends(l.id)}>{l.name}</a>
                </li>
              ))}
            </ul>
          </section>
        ))}
      </div>
    </main>
  )
}
