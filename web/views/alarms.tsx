/** All standing alarms, most urgent first, and what happened before. */
import { later } from '../later.tsx'
import { go, here, to } from '../router.ts'
import { byUrgency, markOf } from '../state/mark.ts'
import { answer, facts } from '../state/sentence.ts'
import { allAlarms, allLoops, now, told } from '../state/store.ts'
import { Acknowledge } from './acknowledge.tsx'
import { Badge } from './ring.tsx'
import { FloodBand, SetAsideList, useSetAside } from './set-aside-list.tsx'

const Changes = later('the changes', () => import('./changes.tsx').then((m) => m.Changes), true)
const Journal = later('the journal', () => import('./journal.tsx').then((m) => m.Journal), true)

const TABS = [
  ['standing', 'Standing', '/alarms'],
  ['set-aside', 'Set aside', '/alarms?tab=set-aside'],
  ['history', 'Journal', '/alarms?tab=history'],
  ['changes', 'Changes', '/alarms?tab=changes'],
] as const

export function AlarmsPage() {
  const asked = here.value.query.get('tab')
  const tab = TABS.find(([id]) => id === asked)?.[0] ?? 'standing'
  const aside = useSetAside()?.alarms.length
  document.title = 'Alarms · Loopkeeper'
  return (
    <main id="main">
      <div class="name">
        <h1>Alarms</h1>
        <nav class="tabs" aria-label="Which alarms">
          {TABS.map(([id, word, href]) => (
            <a
              key={id}
              class="btn"
              href={href}
              aria-current={tab === id ? 'page' : undefined}
              onClick={(e) => {
                e.preventDefault()
                go(href, true)
              }}
            >
              {word}
              {id === 'set-aside' && aside !== undefined ? ` ${aside}` : ''}
            </a>
          ))}
        </nav>
      </div>
      {tab === 'standing' && <FloodBand />}
      {tab === 'standing' && <Standing />}
      {tab === 'set-aside' && <SetAsideList />}
      {tab === 'history' && <Journal />}
      {tab === 'changes' && <Changes />}
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
