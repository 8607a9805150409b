/** Every alarm of a loop with its record, to be gone through on screen or on paper. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { AlarmRuleBody, RulesBody } from '../../server/wire.ts'
import { getRules } from '../link/api.ts'
import { to } from '../router.ts'
import { markOfPriority } from '../state/mark.ts'
import { date } from '../words/times.ts'
import { timeLeft } from '../words/times.ts'
import { Badge } from './ring.tsx'

export function RulesPage({ site }: { site: string }) {
  const body = useSignal<RulesBody | null>(null)
  const fault = useSignal('')
  useEffect(() => {
    void getRules(site).then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [site])
  const b = body.value
  document.title = `Alarm rules: ${b?.name ?? site} · Loopkeeper`
  if (!b) {
    return (
      <main id="main" class="plain">
        <h1 class="title">Alarm rules</h1>
        <p>{fault.value || 'Asking the server.'}</p>
      </main>
    )
  }
  const stages = [...new Set(b.rules.map((r) => r.stage))]
  const { high, medium, low, alert } = b.mix
  return (
    <main id="main" class="rules">
      <div class="name">
        <h1>
          <small>
            <a href={to.loop(site)}>{b.name}</a>
          </small>
          Alarm rules
        </h1>
        <p>
          {b.rules.length} rules: {high} act now, {medium} within the hour, {low} this shift{alert > 0 ? `, ${alert} to watch` : ''}
          <br />
          <a href={`/api/rules.csv?site=${encodeURIComponent(site)}`} download="alarm-rules.csv">
            As CSV
          </a>{' '}
          <a href="/api/rules.csv" download="alarm-rules.csv">
            All loops as CSV
          </a>
        </p>
      </div>
      <div class="tools">
        <button type="button" class="btn" onClick={() => print()}>
          Print
        </button>
        <p>As of {date(new Date(b.nowMs).toISOString().slice(0, 10))}</p>
      </div>
      {stages.map((stage) => (
        <section key={stage ?? ''}>
          <h2 class="sec">{stage ?? 'The loop as a whole'}</h2>
          {b.rules
            .filter((r) => r.stage === stage)
            .map((r) => (
              <Rule key={r.id} rule={r} />
            ))}
        </section>
      ))}
    </main>
  )
}

function Rule({ rule: r }: { rule: AlarmRuleBody }) {
  return (
    <article class="rule" id={r.id}>
      <header>
        <Badge mark={markOfPriority(r.priority)} />
        <h3>
          <a href={to.alarm(r.id)}>{r.what}</a>
        </h3>
        <p class="mute">{r.id}</p>
      </header>
      <dl>
        <Pair word="Raised when">{r.raises}.</Pair>
        <Pair word="Basis">{r.basis}</Pair>
        <Pair word="Cause">{r.cause}</Pair>
        <Pair word="Consequence">{r.consequence}</Pair>
        <Pair word="Action">
          <ol>
            {r.action.map((a) => (
              <li key={a}>{a}</li>
            ))}
          </ol>
        </Pair>
        <Pair word="Confirmed by">{r.confirm}</Pair>
        <Pair word="Priority">
          {r.priority}: {r.priorityBecause}. Class {r.class}
          {r.latching ? ', stays until a person lets it go' : ''}.
        </Pair>
        <Pair word="Time">
          {timeLeft(r.respondWithinMin)} to respond
          {r.detectionMin !== null && r.leftMin !== null
            ? `, told up to ${timeLeft(r.detectionMin)} after the fact: ${r.leftMin === 0 ? 'nothing is left, so it needs a protection on site' : `${timeLeft(r.leftMin)} left`}`
            : ''}
          .
        </Pair>
        <Pair word="Protection">{r.protection === null ? 'None is expected on site.' : `${r.protection.what}: ${fitted(r.protection)}.`}</Pair>
        <Pair word="Held back">
          {r.suppressed} {r.shelveMostMin === null ? 'May not be shelved.' : `May be shelved for ${timeLeft(r.shelveMostMin)} at most.`}
        </Pair>
        <Pair word="Owner">
          {r.owner}, {r.reviewedOn === null ? 'never reviewed for this site' : `reviewed ${date(r.reviewedOn)}, next by ${r.reviewBy === null ? 'no date' : date(r.reviewBy)}`}.
          Version {r.version}.
        </Pair>
      </dl>
    </article>
  )
}

function fitted(p: NonNullable<AlarmRuleBody['protection']>): string {
  if (p.fitted === 'no') return 'not fitted here'
  if (p.fitted === 'unknown') return 'not in the site file'
  return p.provedOn === null ? 'fitted, never proved' : `fitted, proved ${date(p.provedOn)}`
}

function Pair({ word, children }: { word: string; children: preact.ComponentChildren }) {
  return (
    <>
      <dt>{word}</dt>
      <dd>{children}</dd>
    </>
  )
}
