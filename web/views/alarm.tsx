/** One alarm, for somebody woken at night with one hand free: what, where, how long is left, what to do, what can hurt. */
import { useEffect } from 'preact/hooks'
import { useComputed, useSignal } from '@preact/signals'
import type { AlarmBody, CallBody, LoopBody, LoopDetailBody } from '../../server/wire.ts'
import { getAlarm, getLoop } from '../link/api.ts'
import { to } from '../router.ts'
import { harmLeads, protectionWords } from '../state/call.ts'
import { markOf } from '../state/mark.ts'
import { answer, firstSentence } from '../state/sentence.ts'
import { allAlarms, heard, loopSignal, now } from '../state/store.ts'
import { measured } from '../words/numbers.ts'
import { age, date, moment, offset, timeLeft } from '../words/times.ts'
import { Say } from '../words/words.ts'
import { AlarmRule } from './alarm-changes.tsx'
import { AlarmFoot } from './alarm-foot.tsx'
import { GetUp, useCall } from './get-up.tsx'
import { Hazards } from './hazard.tsx'
import { Ring } from './ring.tsx'
import { SetAside } from './set-aside.tsx'

export function AlarmPage({ id }: { id: string }) {
  const asked = useSignal<AlarmBody | null>(null)
  const loop = useSignal<LoopDetailBody | null>(null)
  const fault = useSignal('')
  const standing = useComputed(() => allAlarms.value.find((a) => a.id === id) ?? null)
  const link = heard.value.state
  const ask = (): void => {
    void getAlarm(id).then((r) => {
      if (r.ok) asked.value = r.body
      else fault.value = r.message
    })
  }
  // Also when it leaves the standing ones: the server knows how it ended.
  useEffect(ask, [id, standing.value?.version, link === 'live'])
  const site = id.slice(0, id.indexOf('/'))
  useEffect(() => void getLoop(site).then((r) => r.ok && (loop.value = r.body)), [site])
  const newest = (asked.value?.version ?? -1) > (standing.value?.version ?? -1) ? asked.value : (standing.value ?? asked.value)
  document.title = `${newest?.what ?? 'Alarm'} · Loopkeeper`
  if (!newest) {
    return (
      <main id="main" class="plain">
        <h1 class="title">Alarm</h1>
        <p>{fault.value || 'Asking the server.'}</p>
        <p>
          <a href={to.changes({ alarm: id })}>Its changes</a>: it may have been switched off. <a href={to.journal({ alarm: id })}>Its journal</a>
        </p>
        <a href={to.alarms()}>All alarms</a>
      </main>
    )
  }
  return <Call alarm={newest} loop={loop.value} onAnswer={(a) => (asked.value = a)} onRefused={ask} />
}

function Call({ alarm: a, loop, onAnswer, onRefused }: { alarm: AlarmBody; loop: LoopDetailBody | null; onAnswer: (a: AlarmBody) => void; onRefused: () => void }) {
  const nowMs = now.value
  const mark = markOf(a)
  const brief = loopSignal(a.site)?.value ?? null
  const call = useCall(a)
  const more = useSignal(false)
  const steps = more.value ? a.action : a.action.slice(0, 3)
  return (
    <main id="main" class={`night ${mark.letter}${mark.line === 'aside' ? ' aside' : ''}${a.what.length > 26 ? ' long' : ''}`}>
      <div class="lead">
        <div>
          <p class="state">
            <b class="word">{Say[mark.letter]}</b>,{' '}
            {answer(a, nowMs)
              .replace(/\.$/, '')
              .replace(/^(Unanswered|Shelved|Suppressed|Out of)/, (w) => w.toLowerCase())}
          </p>
          <h1>{a.what}</h1>
          <p class="site">
            <a href={to.loop(a.site)}>{a.siteName}</a>
          </p>
          {a.stageName && <p class="place">{a.stageName}</p>}
        </div>
        {brief && <Ring loop={brief} nowMs={nowMs} lost={heard.value.state === 'lost'} />}
      </div>
      <Facts alarm={a} call={call} heardMs={brief?.heardMs ?? null} />
      <GetUp alarm={a} call={call} />
      <p class="verdict">
        <b>If it waits:</b> {firstSentence(a.consequence)}
      </p>
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
      <Hazards cautions={a.cautions} titles />
      <p class="confirm">
        <b>It worked when:</b> {a.confirm}
      </p>
      <Already alarm={a} call={call ?? null} state={brief?.state ?? null} />
      <Background alarm={a} loop={loop} />
      <SetAside alarm={a} onAnswer={onAnswer} />
      <AlarmRule alarm={a} />
      <AlarmFoot alarm={a} yardPhone={loop?.yardPhone ?? null} onAnswer={onAnswer} onRefused={onRefused} />
    </main>
  )
}

/**
 * The figure that leads is the time until harm is possible, where the wake rule gives one, so that figure and verdict speak of the
 * same; else the time to respond. Beside it what stands against which limit, since when, and how fresh that is.
 */
function Facts({ alarm: a, call, heardMs }: { alarm: AlarmBody; call: CallBody | null | undefined; heardMs: number | null }) {
  const nowMs = now.value
  const there = (a.state === 'unacknowledged' || a.state === 'acknowledged') && a.raisedMs !== null
  const value = a.valueNow ?? a.value
  const respond = there ? respondLeft(a, nowMs) : null
  const harm = there && call?.call ? harmLeads(call.call, a.zone, nowMs) : null
  const [figure, under] = leading(a, nowMs, call === undefined, respond, harm)
  const second = a.shown === a.state && respond && respond[1] !== under
  return (
    <div class="facts">
      <div>
        <b>{figure}</b>
        <span>{under}</span>
      </div>
      <ul>
        {second && <li>{respond.join(' ')}</li>}
        {value !== null && a.limit !== null && <li>{`${measured(value, a.digits, a.unit)}, limit ${measured(a.limit, a.digits, '')}`}</li>}
        {a.raisedMs !== null && (
          <li>
            Since {moment(a.raisedMs, a.zone, nowMs)} <span>{offset(nowMs, a.zone)}, site time</span>
          </li>
        )}
        <li>
          <span>
            {a.heldSinceMs !== null
              ? `Held, no good data since ${moment(a.heldSinceMs, a.zone, nowMs)}`
              : heardMs === null
                ? 'nothing heard of this loop yet'
                : `loop heard ${age(nowMs - heardMs)} ago`}
          </span>
        </li>
      </ul>
    </div>
  )
}

type Pair = readonly [figure: string, words: string]

function respondLeft(a: AlarmBody, nowMs: number): Pair {
  const leftMin = a.respondWithinMin - (nowMs - (a.raisedMs ?? nowMs)) / 60_000
  return leftMin > 0 ? [timeLeft(leftMin), a.state === 'acknowledged' ? 'left to act' : 'to respond'] : ['time to respond', `over by ${age(-leftMin * 60_000)}`]
}

function leading(a: AlarmBody, nowMs: number, asking: boolean, respond: Pair | null, harm: Pair | null): Pair {
  if (a.shown !== a.state) return ['at rest', a.state === 'normal' ? 'nothing is there' : 'still there, nobody is told']
  if (harm) return harm
  if (respond && asking) return ['…', 'asking when harm is possible']
  if (respond) return respond[0] === 'time to respond' ? ['now', respond[1]] : respond
  if (a.state === 'normal') return ['quiet', a.clearedMs === null ? 'no alarm stands' : `to normal ${moment(a.clearedMs, a.zone, nowMs)}`]
  return ['back', a.clearedMs === null ? 'no alarm stands' : `to normal ${moment(a.clearedMs, a.zone, nowMs)}${a.state === 'returned' ? ', still needs your answer' : ''}`]
}

/** What is done already: by whom, by whoever is there, and by what stands in the yard for it. */
function Already({ alarm: a, call, state }: { alarm: AlarmBody; call: CallBody | null; state: LoopBody['state'] | null }) {
  const nowMs = now.value
  const there = state?.visits.map((v) => `${v.person}, until ${moment(v.untilMs, a.zone, nowMs)}${v.overdue ? ', check-out overdue' : ''}`) ?? []
  const known: readonly (readonly [string, string])[] = [
    ['Who has it', a.acknowledgedBy === null || a.acknowledgedMs === null ? 'nobody yet' : `${a.acknowledgedBy}, since ${moment(a.acknowledgedMs, a.zone, nowMs)}`],
    ['On site', there.length > 0 ? there.join('; ') : 'nobody has said so'],
    ...(call ? [['Local protection', protectionWords(call.protection)] as const] : []),
  ]
  return <Terms known={known} />
}

function Terms({ known }: { known: readonly (readonly [string, string])[] }) {
  return (
    <dl class="why">
      {known.map(([term, text]) => (
        <div key={term}>
          <dt>{term}</dt>
          <dd>{text}</dd>
        </div>
      ))}
    </dl>
  )
}

/** What is asked next: is the yard open, what protections there are, how to get in, why, and on what it all rests. */
function Background({ alarm: a, loop }: { alarm: AlarmBody; loop: LoopDetailBody | null }) {
  const known: readonly (readonly [string, string])[] = [
    ...(loop ? [['At the yard', `${loop.openNow ? 'open now' : 'closed now'}${loop.yardPhone ? `, ${loop.yardPhone}` : ''}`] as const] : []),
    ...(loop ? [['Protections of the loop', protection(loop)] as const] : []),
    ...(loop?.access ? [['Getting in', loop.access] as const] : []),
    ['If nobody acts', a.consequence],
    ['Likely cause', a.cause],
    ['The limit rests on', a.basis],
    ['Raised', a.count === 1 ? 'once so far' : `${a.count} times so far`],
  ]
  return <Terms known={known} />
}

const protection = (loop: LoopDetailBody): string =>
  loop.protections.length === 0
    ? 'none written down'
    : loop.protections.map((p) => `${p.what}: ${p.present ? (p.provedOn ? `proved ${date(p.provedOn)}` : 'never proved') : 'not fitted'}`).join('. ')
