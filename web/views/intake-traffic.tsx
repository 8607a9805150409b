/** What each site sent this month, how the month will end when it goes on like this, and how wrong its clock is. */
import { useSignal } from '@preact/signals'
import type { TrafficBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { age, moment, ownZone } from '../words/times.ts'

type SiteTraffic = TrafficBody['sites'][number]

/** Rows shown at once; a fleet of thousands is narrowed by name. */
const MOST_ROWS = 100
const NBSP = '\u00a0'

/** Whoever will not come out with its plan first, then whoever sends most. */
const byNeed = (a: SiteTraffic, b: SiteTraffic): number => (b.month?.ofPlan ?? -1) - (a.month?.ofPlan ?? -1) || (b.month?.usedMb ?? -1) - (a.month?.usedMb ?? -1)

export function Traffic({ body }: { body: TrafficBody }) {
  const word = useSignal('')
  const zone = ownZone()
  const wanted = body.sites.filter((s) => `${s.siteName} ${s.site}`.toLowerCase().includes(word.value.trim().toLowerCase())).sort(byNeed)
  const rows = wanted.slice(0, MOST_ROWS)
  const month = body.sites.find((s) => s.month)?.month?.month
  return (
    <section aria-labelledby="traffic">
      <div class="bar second">
        <h2 id="traffic">Sent this month{month ? `, ${month}` : ''}</h2>
        {body.sites.length > 10 && <input class="find" type="search" placeholder="Find a site" aria-label="Find a site" onInput={(e) => (word.value = e.currentTarget.value)} />}
      </div>
      {body.sites.length === 0 ? (
        <p class="nobody">No loops yet.</p>
      ) : (
        <table class="list stack">
          <thead>
            <tr>
              <th scope="col">Site</th>
              <th scope="col" class="num">
                Messages
              </th>
              <th scope="col" class="num">
                Bytes
              </th>
              <th scope="col" class="num">
                With the link, MB
              </th>
              <th scope="col" class="num">
                At the end of the month, MB
              </th>
              <th scope="col">Of its plan</th>
              <th scope="col">Clock</th>
              <th scope="col">Last heard</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((s) => (
              <tr key={s.site}>
                <th scope="row">{s.siteName}</th>
                <td class="num" data-label="messages">
                  {figure(s.month?.messages ?? 0, 0)}
                </td>
                <td class="num" data-label="bytes">
                  {figure(s.month?.bytes ?? 0, 0)}
                </td>
                <td class="num" data-label="with the link, MB">
                  {figure(s.month?.usedMb ?? 0, 1)}
                </td>
                <td class="num" data-label="at the end, MB">
                  {s.month?.monthMb === null || s.month?.monthMb === undefined ? '' : figure(s.month.monthMb, s.month.monthMb < 10 ? 1 : 0)}
                </td>
                <td data-label="plan">{planOf(s)}</td>
                <td data-label="clock">{clockOf(s.clockBehindMs)}</td>
                <td class="nowrap" data-label="heard">
                  {s.heardMs === null ? 'not since the start' : moment(s.heardMs, zone, now.value)}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
      {wanted.length > MOST_ROWS && <p class="mute">and {figure(wanted.length - MOST_ROWS, 0)} more: narrow them by name.</p>}
      <p class="mute note">
        Counted are topic and payload as they arrive, by the month of UTC; the link adds about 133 bytes a message. A forecast needs an hour of counting and takes the rate so far
        for the whole month.
      </p>
    </section>
  )
}

function planOf({ planMb, month }: SiteTraffic) {
  if (planMb === null) return <span class="mute">no plan in its file</span>
  if (month && month.usedMb > planMb)
    return (
      <b class="strong">
        over its {figure(planMb, 0)}
        {NBSP}MB already
      </b>
    )
  if (!month || month.ofPlan === null) return `${figure(planMb, 0)}${NBSP}MB, too early to say`
  const share = `${figure(month.ofPlan * 100, 0)}${NBSP}% of ${figure(planMb, 0)}${NBSP}MB`
  return month.ofPlan > 1 ? <b class="strong">{share}: it will run over</b> : share
}

function clockOf(behindMs: number | null): string {
  if (behindMs === null) return ''
  if (Math.abs(behindMs) < 2000) return 'right'
  return `${age(Math.abs(behindMs))} ${behindMs > 0 ? 'behind' : 'ahead'}`
}
