/** The site log of one loop, to be filled in on a phone beside the panel. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { EntryBody, LoopDetailBody } from '../../server/wire.ts'
import { getLog, getLoop } from '../link/api.ts'
import { to } from '../router.ts'
import { loopSignal, newEntry, now, told } from '../state/store.ts'
import { Entries } from './entries.tsx'
import { LogForm } from './log-form.tsx'

export function LogPage({ site }: { site: string }) {
  const loop = loopSignal(site)?.value ?? null
  const entries = useSignal<readonly EntryBody[] | null>(null)
  const fault = useSignal('')
  const fresh = newEntry.value
  const protections = useSignal<LoopDetailBody['protections']>([])
  useEffect(() => {
    void getLoop(site).then((r) => {
      if (r.ok) protections.value = r.body.protections
    })
  }, [site])
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
      {told.value && !loop ? (
        <p class="refused">There is no loop “{site}”. The fleet page lists those there are.</p>
      ) : (
        <LogForm site={site} stages={loop?.stages ?? []} protections={protections.value} />
      )}
      <h2 class="sec second">Written so far</h2>
      {fault.value && <p class="refused">{fault.value}</p>}
      {entries.value?.length === 0 && <p class="mute">Nothing yet. What people see and smell is often what settles a case.</p>}
      <Entries entries={entries.value ?? []} zone={loop?.zone ?? 'UTC'} stages={loop?.stages ?? []} />
    </main>
  )
}
