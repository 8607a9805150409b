/** One loop: what is it doing. */
import { useEffect, useMemo } from 'preact/hooks'
import { useComputed, useSignal } from '@preact/signals'
import type { AlarmBody, EntryBody, LoopDetailBody, NormalBody, SignalBody } from '../../server/wire.ts'
import { getLoop, getNormal } from '../link/api.ts'
import { watch } from '../link/live.ts'
import { to } from '../router.ts'
import { createDetail } from '../state/detail.ts'
import { byWorst, markOf } from '../state/mark.ts'
import { answer, facts, stateWords } from '../state/sentence.ts'
import { stageFacts } from '../state/stage-facts.ts'
import { heard, now } from '../state/store.ts'
import { inReadersUnit } from '../state/unit-choice.ts'
import { figure } from '../words/numbers.ts'
import { age, moment } from '../words/times.ts'
import { Say } from '../words/words.ts'
import { Acknowledge } from './acknowledge.tsx'
import { AirOffGuide } from './air-off.tsx'
import { BigRing } from './big-ring.tsx'
import { ComingNext } from './coming.tsx'
import { DueSection } from './due.tsx'
import { Entries } from './entries.tsx'
import { Hazards } from './hazard.tsx'
import { OnSite } from './on-site.tsx'
import { Badge } from './ring.tsx'
import { SetAsideList } from './set-aside-list.tsx'
import { Runs, Standing, Values } from './loop-tables.tsx'
import { Machines } from './machines.tsx'
import { UnitChoice } from './unit-choice.tsx'
import { Vitals } from './vitals.tsx'
import { YardLink } from './yard-link.tsx'

export function LoopPage({ site }: { site: string }) {
  const detail = useMemo(() => createDetail(site), [site])
  const fault = useSignal('')
  const greetings = heard.value.state === 'live'
  useEffect(() => watch([site]), [site])
  /** Vitals come with the body, so it is asked for again every minute. */
  const minute = useComputed(() => Math.floor(now.value / 60_000)).value
  useEffect(() => {
    // Asked anew after each break of the link: what came meanwhile is not in the socket.
    if (greetings || detail.body.peek() === null) {
      void getLoop(site).then((r) => {
        if (r.ok) {
          detail.set(r.body)
          fault.value = ''
        } else fault.value = r.message
      })
    }
  }, [site, greetings, minute])
  const normal = useSignal<NormalBody | null>(null)
  const halfHour = Math.floor(minute / 30)
  useEffect(() => {
    // What is usual is beside the matter when it cannot be had: the figures stand without it.
    void getNormal(site).then((r) => {
      normal.value = r.ok ? r.body : null
    })
  }, [site, greetings, halfHour])
  const body = detail.body.value
  document.title = `${body?.name ?? site} · Loopkeeper`
  if (!body) {
    return (
      <main id="main" class="plain">
        <h1 class="title">{site}</h1>
        <p>{fault.value || 'Asking the server.'}</p>
        {fault.value && <a href={to.fleet()}>To the fleet</a>}
      </main>
    )
  }
  return <Loop body={body} signals={detail.signals.value} log={detail.log.value} normal={normal.value} />
}

function Loop({ body, signals, log, normal }: { body: LoopDetailBody; signals: readonly SignalBody[]; log: readonly EntryBody[]; normal: NormalBody | null }) {
  const nowMs = now.value
  const lost = heard.value.state === 'lost'
  const trendOf = (stage: string): string =>
    to.trends(
      body.id,
      signals
        .filter((s) => s.stage === stage)
        .map((s) => s.id)
        .slice(0, 6),
    )
  const alarms = [...body.alarms].sort(byWorst)
  return (
    <main id="main">
      <div class="name">
        <h1>
          <small>
            <a href={to.fleet()}>Fleet</a> / {body.area}
          </small>
          {body.name}
        </h1>
        <p>
          {figure(body.signals.length, 0)} signals, {body.heardMs === null ? 'nothing heard yet' : `heard ${age(nowMs - body.heardMs)} ago`}
          {body.silent && <b>, silent</b>}
          <br />
          {body.openNow ? 'open now' : 'closed now'} <a href={to.trends(body.id)}>Trends</a> <a href={to.log(body.id)}>Site log</a> <a href={to.rules(body.id)}>Alarm rules</a>
          <br />
          <UnitChoice />
        </p>
      </div>
      <OnSite body={body} />
      <div class="upper">
        <div class="ringBox">
          <BigRing detail={body} signals={signals} nowMs={nowMs} lost={lost} labels trendOf={trendOf} />
          <BigRing detail={body} signals={signals} nowMs={nowMs} lost={lost} labels={false} trendOf={trendOf} />
          <StageList body={body} signals={signals} nowMs={nowMs} trendOf={trendOf} />
        </div>
        <aside aria-label="Alarms of this loop">
          {alarms.length === 0 && (
            <p class="none">
              <b>No alarms.</b> {body.silent ? 'States are held as last heard.' : ''}
            </p>
          )}
          {alarms.slice(0, 1).map((a) => (
            <FullAlarm key={a.id} alarm={a} />
          ))}
          {alarms.slice(1).map((a) => (
            <a key={a.id} class="also" href={to.alarm(a.id)}>
              <Badge mark={markOf(a)} />
              <div>
                <p class="strong">{a.what}</p>
                <p class="mute">{[facts(a, nowMs), stateWords(a)].filter(Boolean).join('. ')}</p>
              </div>
              <span class="mute">{a.raisedMs === null ? '' : moment(a.raisedMs, a.zone, nowMs)}</span>
            </a>
          ))}
          <SetAsideList site={body.id} />
          <p class="loopLinks">
            <a href={to.journal({ site: body.id })}>Journal of this loop</a>
            <a href={to.changes({ site: body.id })}>Changes of its alarms</a>
          </p>
        </aside>
      </div>
      <div class="lower">
        <Values signals={signals.filter((s) => s.kind === 'analogue')} body={body} normal={normal} />
        <div>
          <Runs body={body} signals={signals} />
          <Machines site={body.id} />
        </div>
        <Standing body={body} />
      </div>
      <DueSection body={body} />
      <ComingNext body={body} />
      <Vitals body={body} normal={normal} />
      <AirOffGuide body={body} />
      <div class="in2">
        <section>
          <h2 class="sec">Site log</h2>
          {log.length === 0 && <p class="mute">Nothing written yet.</p>}
          <Entries entries={log.slice(0, 6)} zone={body.zone} stages={body.stages} />
          <p>
            <a href={to.log(body.id)}>Write in the site log</a>
          </p>
        </section>
        <section>
          <h2 class="sec">Getting in</h2>
          <dl>
            <dt>Yard</dt>
            <dd>{body.yardPhone ?? 'no phone number in the site file'}</dd>
            <dt>Access</dt>
            <dd>{body.access ?? 'not written down'}</dd>
            <dt>Altitude</dt>
            <dd>{body.altitudeM === null ? 'not written down' : inReadersUnit(body.altitudeM, 0, 'm')}</dd>
          </dl>
          <YardLink site={body.id} zone={body.zone} />
        </section>
      </div>
      <Hazards cautions={body.hazards} title="Hazards here" />
    </main>
  )
}

/** The stages in water order, for a screen too narrow for labels round the ring. */
function StageList({ body, signals, nowMs, trendOf }: { body: LoopDetailBody; signals: readonly SignalBody[]; nowMs: number; trendOf: (stage: string) => string }) {
  return (
    <nav class="stagesList" aria-label="Stages in water order">
      {body.stages.map((s) => {
        const f = stageFacts(body, s.id, signals, nowMs)
        return (
          <a key={s.id} href={trendOf(s.id)}>
            <b>{s.name}</b>
            {f.value && (
              <span>
                <b class={`val ${f.value.kind}`}>{f.value.text}</b> {f.value.unit} {f.of}
              </span>
            )}
            <span class="mute">{[f.value?.note, ...f.lines].filter(Boolean).join(', ')}</span>
          </a>
        )
      })}
    </nav>
  )
}

function FullAlarm({ alarm: a }: { alarm: AlarmBody }) {
  const nowMs = now.value
  const mark = markOf(a)
  return (
    <article class={`alarm ${mark.letter}`}>
      <header>
        <Badge mark={mark} />
        <div>
          <h2>
            <a href={to.alarm(a.id)}>{a.what}</a>
          </h2>
          <p>
            <span class="word">{Say[mark.letter]}.</span> {answer(a, nowMs)}
          </p>
        </div>
      </header>
      <p class="v">{facts(a, nowMs)}</p>
      <ol class="steps">
        {a.action.slice(0, 3).map((s) => (
          <li key={s}>{s}</li>
        ))}
      </ol>
      <Hazards cautions={a.cautions} most={2} />
      <div class="acts">
        <Acknowledge alarm={a} words="Acknowledge" main />
        <a class="btn" href={to.trends(a.site, a.signal ? [a.signal] : [])}>
          Trend
        </a>
      </div>
    </article>
  )
}
