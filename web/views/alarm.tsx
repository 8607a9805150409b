/** One alarm, for somebody woken at night with one hand free: what, where, how long is left, what to do, what can hurt. */
import { useEffect } from 'preact/hooks'
import { useComputed, useSignal } from '@preact/signals'
import type { AlarmBody, LoopDetailBody } from '../../server/wire.ts'
import { getAlarm, getLoop } from '../link/api.ts'
import { to } from '../router.ts'
import { markOf } from '../state/mark.ts'
import { answer } from '../state/sentence.ts'
import { allAlarms, heard, loopSignal, now } from '../state/store.ts'
import { measured } from '../words/numbers.ts'
import { age, date, moment, offset, timeLeft } from '../words/times.ts'
import { Say } from '../words/words.ts'
import { Acknowledge } from './acknowledge.tsx'
import { Hazards } from './hazard.tsx'
import { Ring } from './ring.tsx'

export function AlarmPage({ id }: { id: string }) {
  const asked = useSignal<AlarmBody | null>(null)
  const loop = useSignal<LoopDetailBody | null>(null)
  const fault = useSignal('')
  const standing = useComputed(() => allAlarms.value.find((a) => a.id === id) ?? null)
  const link = heard.value.state
  useEffect(() => {
    // Also when it leaves the standing ones: the server knows how it ended.
    void getAlarm(id).then((r) => {
      if (r.ok) asked.value = r.body
      else fault.value = r.message
    })
  }, [id, standing.value?.version, link === 'live'])
  const site = id.slice(0, id.indexOf('/'))
  useEffect(() => void getLoop(site).then((r) => r.ok && (loop.value = r.body)), [site])
  const newest = (asked.value?.version ?? -1) > (standing.value?.version ?? -1) ? asked.value : (standing.value ?? asked.value)
  document.title = `${newest?.what ?? 'Alarm'} · Loopkeeper`
  if (!newest) {
    return (
      <main id="main" class="plain">
        <h1 class="title">Alarm</h1>
        <p>{fault.value || 'Asking the server.'}</p>
        <a href={to.alarms()}>All alarms</a>
      </main>
    )
  }
  return <Call alarm={newest} loop={loop.value} onAnswer={(a) => (asked.value = a)} />
}

function Call({ alarm: a, loop, onAnswer }: { alarm: AlarmBody; loop: LoopDetailBody | null; onAnswer: (a: AlarmBody) => void }) {
  const nowMs = now.value
  const mark = markOf(a)
  const brief = loopSignal(a.site)?.value ?? null
  const more = useSignal(false)
  const there = a.state === 'unacknowledged' || a.state === 'acknowledged'
  const leftMin = a.raisedMs === null ? null : a.respondWithinMin - (nowMs - a.raisedMs) / 60_000
  const value = a.valueNow ?? a.value
  const steps = more.value ? a.action : a.action.slice(0, 3)
  return (
    <main id="main" class={`night ${mark.letter}`}>
      <div class="lead">
        <div>
          <p class="state">
            <b class="word">{Say[mark.letter]}</b>,{' '}
            {answer(a, nowMs)
              .replace(/\.$/, '')
              .replace(/^Unanswered/, 'unanswered')}
          </p>
          <h1>{a.what}</h1>
          <p class="site">
            <a href={to.loop(a.site)}>{a.siteName}</a>
          </p>
          {a.stageName && <p class="place">{a.stageName}</p>}
        </div>
        {brief && <Ring loop={brief} nowMs={nowMs} />}
      </div>
      <div class="facts">
        <div>
          {there && leftMin !== null ? (
            <>
              <b>{leftMin > 0 ? timeLeft(leftMin) : 'now'}</b>
              <span>{leftMin > 0 ? 'to respond' : `over by ${age(-leftMin * 60_000)}`}</span>
            </>
          ) : (
            <>
              <b>{a.state === 'normal' ? 'quiet' : 'back'}</b>
              <span>{a.clearedMs === null ? 'no alarm stands' : `to normal ${moment(a.clearedMs, a.zone, nowMs)}`}</span>
            </>
          )}
        </div>
        <p>
          {value !== null && a.limit !== null && (
            <>
              {measured(value, a.digits, a.unit)}
              {`, limit ${measured(a.limit, a.digits, '')}`}
              <br />
            </>
          )}
          {a.raisedMs !== null && (
            <>
              Since {moment(a.raisedMs, a.zone, nowMs)} <span>{offset(nowMs, a.zone)}, site time</span>
            </>
          )}
          {a.heldSinceMs !== null && (
            <>
              <br />
              Held, no good data since {moment(a.heldSinceMs, a.zone, nowMs)}
            </>
          )}
        </p>
      </div>
      <h2>Do</h2>
      <ol class="steps big">
        {steps.map((s) => (
          <li key={s}>{s}</li>
        ))}
      </ol>
      {a.action.length > 3 && !more.value && (
        <button type="button" class="btn" onClick={() => (more.value = true)}>
          More
        </button>
      )}
      <p class="confirm">
        <b>It worked when:</b> {a.confirm}
      </p>
      <Hazards cautions={a.cautions} />
      <dl class="why">
        <dt>Likely cause</dt>
        <dd>{a.cause}</dd>
        <dt>If nobody acts</dt>
        <dd>{a.consequence}</dd>
        <dt>The limit rests on</dt>
        <dd>{a.basis}</dd>
        <dt>Raised</dt>
        <dd>{a.count === 1 ? 'once so far' : `${a.count} times so far`}</dd>
        {loop?.access && (
          <>
            <dt>Getting in</dt>
            <dd>{loop.access}</dd>
          </>
        )}
        {loop && (
          <>
            <dt>Local protection</dt>
            <dd>
              {loop.protections.length === 0
                ? 'none written down'
                : loop.protections.map((p) => `${p.what}: ${p.present ? (p.provedOn ? `proved ${date(p.provedOn)}` : 'never proved') : 'not fitted'}`).join('. ')}
            </dd>
          </>
        )}
      </dl>
      <div class="foot">
        <p role="status">{heard.value.state === 'live' ? answer(a, nowMs) : 'No link to the server: what stands here is as last heard.'}</p>
        <Acknowledge alarm={a} words="Acknowledge, I have it" main onDone={onAnswer} />
        <div class="two">
          {loop?.yardPhone ? (
            <a class="btn" href={`tel:${loop.yardPhone.replace(/\(.*\)/, '').replace(/[^\d+]/g, '')}`}>
              Call the yard
            </a>
          ) : (
            <a class="btn" href={to.loop(a.site)}>
              The loop
            </a>
          )}
          <a class="btn" href={a.acknowledgedBy === null ? to.trends(a.site, a.signal ? [a.signal] : []) : to.log(a.site)}>
            {a.acknowledgedBy === null ? 'Trend' : 'Write what you found'}
          </a>
        </div>
      </div>
    </main>
  )
}
