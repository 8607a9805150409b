/** The site log of one loop, to be filled in on a phone beside the panel. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { EntryBody } from '../../server/wire.ts'
import { getLog } from '../link/api.ts'
import { to } from '../router.ts'
import { loopSignal, newEntry, now } from '../state/store.ts'
import { Entries } from './entries.tsx'
import { LogForm } from './log-form.tsx'

export function LogPage({ site }: { site: string }) {
  const loop = loopSignal(site)?.value ?? null
  const entries = useSignal<readonly EntryBody[] | null>(null)
  const fault = useSignal('')
  const fresh = newEntry.value
  useEffect(() => {
    void getLog(site, 0, now.peek() + 60_000).then((r) => {
      if (r.ok) entries.value = r.body.entries
      fault.value = r.ok ? '' : r.message
    })
  }, [site, fresh])
  document.title = `Site log: ${loop?.name ?? site} · Loopkeeper`
  return (
    <main id="main" class="plain">
      <div class="name">
        <h1>
          <small>
            <a href={to.loop(site)}>{loop?.name ?? site}</a>
          </small>
          Site log
        </h1>
      </div>
      <LogForm site={site} stages={loop?.stages ?? []} />
      <h2 class="sec second">Written so far</h2>
      {fault.value && <p class="refused">{fault.value}</p>}
      {entries.value?.length === 0 && <p class="mute">Nothing yet. What people see and smell is often what settles a case.</p>}
      <Entries entries={entries.value ?? []} zone={loop?.zone ?? 'UTC'} stages={loop?.stages ?? []} />
    </main>
  )
}
