/** A row of filters that stands in the address, so that a selection can be sent to somebody. */
import type { ComponentChildren } from 'preact'
import { go, here } from '../router.ts'
import { allLoops } from '../state/store.ts'

interface Props {
  readonly tab: string
  readonly names: readonly string[]
  readonly children: ComponentChildren
}

export function Filters({ tab, names, children }: Props) {
  const query = here.value.query
  const put = (form: HTMLFormElement): void => {
    const given = new FormData(form)
    const next = new URLSearchParams({ tab })
    for (const name of names) {
      const v = form.elements.namedItem(name) ? given.get(name) : query.get(name)
      if (typeof v === 'string' && v.trim() !== '') next.set(name, v.trim())
    }
    if (`?${next}` !== location.search) go(`/alarms?${next}`, true)
  }
  const alarm = query.get('alarm')
  const others = names.filter((n) => query.get(n))
  return (
    <form
      class="filters"
      role="search"
      key={here.value.query.get('alarm') ?? ''}
      onChange={(e) => put(e.currentTarget)}
      onSubmit={(e) => {
        e.preventDefault()
        put(e.currentTarget)
      }}
    >
      {children}
      {alarm !== null && <p class="only">Only the alarm {alarm}.</p>}
      {others.length > 0 && (
        <a class="btn" href={`/alarms?tab=${tab}`} onClick={(e) => (e.currentTarget.closest('form')?.reset(), undefined)}>
          Show all
        </a>
      )}
    </form>
  )
}

export function LoopChoice() {
  const chosen = here.value.query.get('site') ?? ''
  const loops = allLoops.value.toSorted((a, b) => a.name.localeCompare(b.name))
  return (
    <label>
      Loop
      <select name="site" value={chosen}>
        <option value="">all</option>
        {loops.map((l) => (
          <option key={l.id} value={l.id} selected={l.id === chosen}>
            {l.name}
          </option>
        ))}
      </select>
    </label>
  )
}
