/** All standing alarms, most urgent first, and what happened before. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { JournalBody } from '../../server/wire.ts'
import { getJournal } from '../link/api.ts'
import { go, here, to } from '../router.ts'
import { byUrgency, markOf } from '../state/mark.ts'
import { answer, facts } from '../state/sentence.ts'
import { allAlarms, allLoops, newAlarm, now, told } from '../state/store.ts'
import { figure, measured } from '../words/numbers.ts'
import { moment, offset, ownZone } from '../words/times.ts'
import { LETTER } from '../words/words.ts'
import { Acknowledge } from './acknowledge.tsx'
import { Badge } from './ring.tsx'
import { FloodBand, SetAsideList, useSetAside } from './set-aside-list.tsx'

export function AlarmsPage() {
  const asked = here.value.query.get('tab')
  const tab = asked === 'history' || asked === 'set-aside' ? asked : 'standing'
  const aside = useSetAside()?.alarms.length
  document.title = 'Alarms · Loopkeeper'
  const pick = (t: string) => (e: Event) => {
    e.preventDefault()
    go(t === 'standing' ? '/alarms' : `/alarms?tab=${t}`, true)
  }
  return (
    <main id="main">
      <div class="name">
        <h1>Alarms</h1>
        <nav class="tabs" aria-label="Which alarms">
          <a class="btn" href="/alarms" aria-current={tab === 'standing' ? 'page' : undefined} onClick={pick('standing')}>
            Standing
          </a>
          <a class="btn" href="/alarms?tab=set-aside" aria-current={tab === 'set-aside' ? 'page' : undefined} onClick={pick('set-aside')}>
            Set aside{aside === undefined ? '' : ` ${aside}`}
          </a>
          <a class="btn" href="/alarms?tab=history" aria-current={tab === 'history' ? 'page' : undefined} onClick={pick('history')}>
            History
          </a>
        </nav>
      </div>
      {tab === 'standing' && <FloodBand />}
      {tab === 'standing' ? <Standing /> : tab === 'history' ? <History /> : <SetAsideList />}
    </main>
  )
}

function Standing() {
  const nowMs = now.value
  const alarms = [...allAlarms.value].sort(byUrgency)
  if (!told.value) return <p class="mute">Asking the server.</p>
  if (alarms.length === 0)
    return (
      <p class="nobody">
        <b>No alarm stands.</b> {allLoops.value.some((l) => l.silent) && 'Silent loops keep the state they were last heard in.'}
      </p>
    )
  return (
    <div class="wide">
      <table class="list standing">
        <thead>
          <tr>
            <th scope="col">
              <span class="vh">Mark</span>
            </th>
            <th scope="col">Loop</th>
            <th scope="col">What</th>
            <th scope="col">Value against limit</th>
            <th scope="col">Who</th>
            <th scope="col">
              <span class="vh">Answer</span>
            </th>
          </tr>
        </thead>
        <tbody>
          {alarms.map((a) => (
            <tr key={a.id}>
              <td>
                <Badge mark={markOf(a)} fresh={a.raisedMs !== null && nowMs - a.raisedMs < 6000} />
              </td>
              <td>
                <a href={to.loop(a.site)}>{a.siteName}</a>
                {a.stageName && <span class="mute block">{a.stageName}</span>}
              </td>
              <td class="strong">
                <a href={to.alarm(a.id)}>{a.what}</a>
              </td>
              <td>{facts(a, nowMs)}</td>
              <td>{answer(a, nowMs)}</td>
              <td class="num">
                <Acknowledge alarm={a} words="Acknowledge" />
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  )
}

const KIND: Readonly<Record<string, string>> = {
  raised: 'raised',
  cleared: 'back to normal',
  acknowledged: 'answered',
  reset: 'reset',
  held: 'held, no good data',
  released: 'judged again',
  closed: 'closed',
  're-alarmed': 'told again, still there',
  'stepped-up': 'a higher level speaks for it',
  'raised-hidden': 'raised, told to nobody',
  'cleared-hidden': 'back to normal, told to nobody',
  shelved: 'shelved',
  unshelved: 'off the shelf',
  suppressed: 'suppressed by design',
  unsuppressed: 'no longer suppressed',
  'out-of-service': 'taken out of service',
  'in-service': 'back in service',
  'review-overdue': 'review overdue',
}
const MONTH_MS = 30 * 86_400_000

function History() {
  const events = useSignal<JournalBody['events'] | null>(null)
  const fault = useSignal('')
  const newest = newAlarm.value
  useEffect(() => {
    void getJournal(now.peek() - MONTH_MS, now.peek() + 60_000, 500).then((r) => {
      if (r.ok) events.value = r.body.events
      else fault.value = r.message
    })
  }, [newest])
  if (fault.value) return <p class="refused">{fault.value}</p>
  if (!events.value) return <p class="mute">Asking the server.</p>
  if (events.value.length === 0)
    return (
      <p class="nobody">
        <b>Nothing in the last 30 days.</b>
      </p>
    )
  const zone = ownZone()
  const names = new Map(allLoops.value.map((l) => [l.id, l.name]))
  return (
    <div class="wide">
      <p class="mute">The last 30 days, newest first, at most 500 lines. Times of this browser, {offset(now.value, zone)}.</p>
      <table class="list stack">
        <thead>
          <tr>
            <th scope="col">When</th>
            <th scope="col">Loop</th>
            <th scope="col">What</th>
            <th scope="col">Happened</th>
            <th scope="col">Value against limit</th>
            <th scope="col">By</th>
          </tr>
        </thead>
        <tbody>
          {events.value.map((e, i) => {
            const site = e.alarm.slice(0, e.alarm.indexOf('/'))
            return (
              <tr key={`${e.occurrence}${e.kind}${i}`}>
                <td class="nowrap">{moment(e.atMs, zone, now.value)}</td>
                <td>
                  <a href={to.loop(site)}>{names.get(site) ?? site}</a>
                </td>
                <td>
                  <b>{LETTER[e.priority]}</b> {e.what}
                </td>
                <td>{KIND[e.kind] ?? e.kind}</td>
                <td>{e.value === null || e.digits === null ? '' : `${measured(e.value, e.digits, e.unit)}${e.limit === null ? '' : `, limit ${figure(e.limit, e.digits)}`}`}</td>
                <td>{[e.by, e.note && `“${e.note}”`].filter(Boolean).join(': ')}</td>
              </tr>
            )
          })}
        </tbody>
      </table>
    </div>
  )
}
