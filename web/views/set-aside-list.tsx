/** Alarms nobody is told of, by why; and what is too much at once. Asked for anew with every alarm change. */
import { useEffect } from 'preact/hooks'
import { signal } from '@preact/signals'
import type { FloodsBody, SetAsideBody } from '../../server/wire.ts'
import { getSetAside } from '../link/api.ts'
import { to } from '../router.ts'
import { markOf } from '../state/mark.ts'
import { GROUPS, hidden, setAside } from '../state/set-aside.ts'
import { heard, minute, newAlarm, now } from '../state/store.ts'
import { age, moment, ownZone } from '../words/times.ts'
import { Badge } from './ring.tsx'

const capital = (s: string): string => s.slice(0, 1).toUpperCase() + s.slice(1)

/** As last told by the server; null: not yet. */
const body = signal<SetAsideBody | null>(null)

export function useSetAside(): SetAsideBody | null {
  const live = heard.value.state === 'live'
  const newest = newAlarm.value
  const tick = minute.value
  useEffect(() => void getSetAside().then((r) => r.ok && (body.value = r.body)), [newest, live, tick])
  return body.value
}

export function SetAsideList({ site }: { site?: string }) {
  const told = useSetAside()
  const nowMs = now.value
  if (!told) return <p class="mute">Asking the server.</p>
  const mine = told.alarms.filter((a) => site === undefined || a.site === site)
  if (mine.length === 0 && site !== undefined) return null
  return (
    <>
      {site !== undefined && <h2 class="sec">Set aside</h2>}
      {GROUPS.map(([shown, title, why]) => {
        const list = mine.filter((a) => a.shown === shown)
        if (site !== undefined && list.length === 0) return null
        return (
          <section key={shown} class="asides" aria-label={title}>
            <h2 class="sec">
              {title} <span class="mute">{list.length}</span>
            </h2>
            {site === undefined && <p class="mute">{list.length === 0 ? 'None.' : why}</p>}
            {list.map((a) => (
              <a key={a.id} class="also" href={to.alarm(a.id)}>
                <Badge mark={markOf(a)} />
                <div>
                  <p class="strong">
                    {site === undefined && <span class="mute">{a.siteName} </span>}
                    {a.what}
                  </p>
                  <p>{setAside(a, nowMs)}.</p>
                  <p class="mute">
                    {capital((a.outOfService ?? a.suppressed ?? a.shelved)?.reason ?? '')}
                    {a.outOfService && `. Meanwhile: ${a.outOfService.measure}`}. {hidden(a)}
                  </p>
                </div>
                <span />
              </a>
            ))}
          </section>
        )
      })}
    </>
  )
}

/** Above the list of what stands: a flood, and stories told once. The alarms themselves stay in the list, every one. */
export function FloodBand() {
  const told = useSetAside()
  if (!told) return null
  const { fleet, sites, groups } = told.floods
  if (!fleet && sites.length === 0 && groups.length === 0) return null
  return (
    <section class="flood" aria-label="Many alarms at once" role="status">
      {groups.map((g) => (
        <Story key={g.rule} group={g} />
      ))}
      {fleet && (
        <p>
          <b>Many alarms at once:</b> {fleet.lately} in the last 10 min, {fleet.count} since {moment(fleet.sinceMs, ownZone(), now.value)}. The first was{' '}
          <a href={to.alarm(fleet.firstAlarm)}>{fleet.firstWhat}</a>.
        </p>
      )}
      {sites.map((s) => (
        <p key={s.site}>
          <a href={to.loop(s.site)}>{s.siteName}</a>: {s.lately} in the last 10 min, first <a href={to.alarm(s.firstAlarm)}>{s.firstWhat}</a>.
        </p>
      ))}
    </section>
  )
}

function Story({ group: g }: { group: FloodsBody['groups'][number] }) {
  const silent = g.rule === 'site.silent'
  return (
    <details>
      <summary>
        <b>{g.sites.length} loops at once:</b> {g.what}, the first {age(now.value - g.sinceMs)} ago.{' '}
        {silent ? 'Likely one cause: the network, or us. One look before many calls.' : 'Likely one cause.'}
      </summary>
      <ul>
        {g.sites.map((s) => (
          <li key={s.site}>
            <a href={to.loop(s.site)}>{s.siteName}</a>
          </li>
        ))}
      </ul>
    </details>
  )
}
