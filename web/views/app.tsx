/** Which page stands under the head, and the two things every page says: that the server is lost, and what has just been raised. */
import { useSignal, useSignalEffect } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { signedOut } from '../link/api.ts'
import { later } from '../later.tsx'
import { here } from '../router.ts'
import { heard, lost, newAlarm, now } from '../state/store.ts'
import { markOf } from '../state/mark.ts'
import { age, clockSeconds, ownZone } from '../words/times.ts'
import { Say } from '../words/words.ts'
import { AlarmPage } from './alarm.tsx'
import { AlarmsPage } from './alarms.tsx'
import { FleetPage } from './fleet.tsx'
import { Head } from './head.tsx'
import { LoopPage } from './loop.tsx'

const TrendPage = later('the trends', () => import('./trend.tsx').then((m) => m.TrendPage))
const ChangePage = later('the change of an alarm', () => import('./alarm-change.tsx').then((m) => m.ChangePage))
const LogPage = later('the site log', () => import('./log.tsx').then((m) => m.LogPage))
const FleetDuePage = later('the due list', () => import('./fleet-due.tsx').then((m) => m.FleetDuePage))
const RulesPage = later('the alarm rules', () => import('./rules.tsx').then((m) => m.RulesPage))
const IntakePage = later('the intake page', () => import('./intake.tsx').then((m) => m.IntakePage))
const HealthPage = later('the health page', () => import('./health.tsx').then((m) => m.HealthPage))
const SetupPage = later('the setup pages', () => import('./setup.tsx').then((m) => m.SetupPage))

export function App() {
  const { path } = here.value
  const [page, id, more] = path
  useEffect(() => {
    document.body.classList.toggle('lost', lost.value)
  }, [lost.value])
  if (signedOut.value) return <SignedOut />
  const night = page === 'alarms' && id !== undefined
  return (
    <>
      <a class="skip" href="#main">
        To the page
      </a>
      <Head />
      <LostBand />
      <Announcer />
      {page === undefined && <FleetPage />}
      {page === 'loops' && id !== undefined && <LoopPage key={id} site={id} />}
      {page === 'alarms' && id === undefined && <AlarmsPage />}
      {night && more === 'change' && <ChangePage key={id} id={id} />}
      {night && more === undefined && <AlarmPage key={id} id={id} />}
      {page === 'trends' && <TrendPage key={id ?? ''} site={id ?? null} />}
      {page === 'log' && id !== undefined && <LogPage key={id} site={id} />}
      {page === 'due' && <FleetDuePage site={here.value.query.get('site')} />}
      {page === 'rules' && id !== undefined && <RulesPage key={id} site={id} />}
      {page === 'intake' && <IntakePage />}
      {page === 'setup' && <SetupPage path={path.slice(1)} />}
      {page === 'health' && <HealthPage />}
      {!KNOWN.has(page ?? '') && (
        <main id="main">
          <h1 class="title">No such page</h1>
          <p>
            Nothing is kept at this address. <a href="/">To the fleet</a>
          </p>
        </main>
      )}
    </>
  )
}

const KNOWN = new Set(['', 'loops', 'alarms', 'trends', 'log', 'due', 'rules', 'intake', 'setup', 'health'])

const BACK_MS = 5_000

/** The page has lost its server: it must not be mistaken for a quiet one. Said aloud once; the seconds only stand there. When the server is heard again, so. */
function LostBand() {
  const { state, serverMs } = heard.value
  const back = useSignal<number | null>(null)
  const was = useRef(state)
  useEffect(() => {
    if (was.current === 'lost' && state === 'live') {
      back.value = now.peek()
      const over = setTimeout(() => (back.value = null), BACK_MS)
      was.current = state
      return () => clearTimeout(over)
    }
    was.current = state
    return undefined
  }, [state])
  if (state === 'live' && back.value !== null)
    return (
      <div class="stop" role="status">
        <b>Back at {clockSeconds(back.value, ownZone())}.</b>
      </div>
    )
  if (state !== 'lost') return null
  const frozen = serverMs === null ? 'Nothing has been shown yet.' : `This page is frozen at ${clockSeconds(serverMs, ownZone())}.`
  const rest = `${frozen} Alarms may stand that it does not show. It tries again by itself.`
  return (
    <div class="stop">
      <p class="vh" role="alert">
        No word from the server. {rest}
      </p>
      <p aria-hidden="true">
        <b>No word from the server{serverMs === null ? '' : ` for ${age(now.value - serverMs)}`}.</b> {rest}
      </p>
    </div>
  )
}

/** Says a new alarm to screen readers, at most one sentence per change, never a ticking value. */
function Announcer() {
  const text = useSignal('')
  useSignalEffect(() => {
    const n = newAlarm.value
    if ((n?.event === 'raised' || n?.event === 're-alarmed') && n.alarm.priority !== 'alert') text.value = `${Say[markOf(n.alarm).letter]}: ${n.alarm.siteName}: ${n.alarm.what}`
  })
  return (
    <p class="vh" role="status">
      {text}
    </p>
  )
}

function SignedOut() {
  return (
    <main id="main" class="plain">
      <h1 class="title">Nobody is signed in here</h1>
      <p>Open the sign-in link that the gateway prints on its console when it starts. It works once, for 15 minutes.</p>
      <p>
        Then{' '}
        <a href="/" onClick={() => (signedOut.value = false)}>
          load this page again
        </a>
        .
      </p>
    </main>
  )
}
