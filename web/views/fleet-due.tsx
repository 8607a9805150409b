/** What is due where, over all loops, by date: for the planner of the week. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { FleetDueBody } from '../../server/wire.ts'
import { getFleetDue } from '../link/api.ts'
import { go, to } from '../router.ts'
import { groupOf, kindWord, saidDue, tally } from '../state/due.ts'
import { minute, now } from '../state/store.ts'

/** Lines shown at first; a planner looks at the nearest. */
const FIRST = 200

export function FleetDuePage({ site }: { site: string | null }) {
  const body = useSignal<FleetDueBody | null>(null)
  const fault = useSignal('')
  const all = useSignal(false)
  const beat = minute.value
  useEffect(() => {
    void getFleetDue().then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [beat])
  document.title = 'Due · Loopkeeper'
  const b = body.value
  const sites = new Map(b?.sites.map((s) => [s.id, s]) ?? [])
  const items = (b?.items ?? []).filter((d) => site === null || d.site === site)
  const shown = all.value ? items : items.slice(0, FIRST)
  const nowMs = now.value
  const csv = `/api/due.csv${site === null ? '' : `?site=${encodeURIComponent(site)}`}`
  return (
    <main id="main">
      <div class="name">
        <h1>
          <small>{site === null ? 'All loops' : <a href={to.loop(site)}>{sites.get(site)?.name ?? site}</a>}</small>
          Due
        </h1>
        <p>
          {b ? tally(items, nowMs) : 'Asking the server.'}
          <br />
          <a href={csv} download="due.csv">
            As CSV
          </a>
        </p>
      </div>
      <div class="tools">
        <label>
          Loop{' '}
          <select value={site ?? ''} onChange={(e) => go(to.due(e.currentTarget.value || undefined), true)}>
            <option value="">All loops</option>
            {[...sites.values()].map((s) => (
              <option key={s.id} value={s.id}>
                {s.name}
              </option>
            ))}
          </select>
        </label>
        <button type="button" class="btn" onClick={() => print()}>
          Print
        </button>
      </div>
      {fault.value && <p class="refused">{fault.value}</p>}
      {b !== null && b.waiting > 0 && (
        <p class="mute">
          {b.waiting} of {b.sites.length} loops have not been worked out since the start; their turn comes by itself.
        </p>
      )}
      {b !== null && items.length === 0 && <p class="none">Nothing is due.</p>}
      {shown.length > 0 && (
        <table class="rows due list">
          <thead>
            <tr>
              <th scope="col">When</th>
              <th scope="col">What</th>
              <th scope="col">Why</th>
              <th scope="col">How, and what to bring</th>
            </tr>
          </thead>
          <tbody>
            {shown.map((d) => {
              const at = sites.get(d.site)
              const said = saidDue(d, at?.zone ?? 'UTC', nowMs)
              return (
                <tr key={`${d.site} ${d.id}`}>
                  <td class="when">{groupOf(d, nowMs) === 'overdue' ? <b>{said}</b> : said}</td>
                  <th scope="row">
                    {d.what}
                    <span class="noteLine">
                      {kindWord(d)}
                      {site === null && (
                        <>
                          , <a href={to.loop(d.site)}>{at?.name ?? d.site}</a>
                        </>
                      )}
                      {d.stageName === null ? '' : `, ${d.stageName}`}
                    </span>
                  </th>
                  <td>{d.why}</td>
                  <td>{d.bring}</td>
                </tr>
              )
            })}
          </tbody>
        </table>
      )}
      {shown.length < items.length && (
        <button type="button" class="btn" onClick={() => (all.value = true)}>
          Show the other {items.length - shown.length}
        </button>
      )}
    </main>
  )
}
