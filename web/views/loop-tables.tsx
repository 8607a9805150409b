/** The tables under the ring: values against their limits, what runs, what protects the loop on site, and what nobody can see from here. */
import type { LoopDetailBody, NormalBody, SignalBody } from '../../server/wire.ts'
import { to } from '../router.ts'
import { shown, type Shown } from '../state/freshness.ts'
import { byWorst, markOf } from '../state/mark.ts'
import { saidNormal } from '../state/outlook.ts'
import { now } from '../state/store.ts'
import { figure, measured } from '../words/numbers.ts'
import { age } from '../words/times.ts'
import { Wire } from './wire.tsx'

/** Signal's name as the way to its trend, and under it why its figure is not plainly good. */
function Name({ site, signal, words, v, usual }: { site: string; signal: SignalBody; words: string; v: Shown; usual?: string }) {
  return (
    <th scope="row">
      <a href={to.trends(site, [signal.id])}>{words}</a>
      {v.note && <span class="noteLine">{v.note}</span>}
      {usual && <span class="noteLine">{usual}</span>}
    </th>
  )
}

const Age = ({ signal, nowMs }: { signal: SignalBody; nowMs: number }) => <td class="ageCell">{signal.sourceMs === null ? '' : age(nowMs - signal.sourceMs)}</td>

export function Values({ signals, body, normal }: { signals: readonly SignalBody[]; body: LoopDetailBody; normal: NormalBody | null }) {
  const nowMs = now.value
  // What has limits first: it is what can be judged at a glance.
  const ordered = [...signals.filter((s) => s.limits.length > 0), ...signals.filter((s) => s.limits.length === 0)]
  return (
    <section>
      <h2 class="sec">Values</h2>
      <table class="rows vit">
        <thead class="vh">
          <tr>
            <th scope="col">Signal</th>
            <th scope="col">Value</th>
            <th scope="col">Against its limits</th>
            <th scope="col">Age</th>
          </tr>
        </thead>
        <tbody>
          {ordered.map((s) => {
            const v = shown(s, nowMs)
            const alarm = body.alarms.filter((a) => a.signal === s.id && (a.state === 'unacknowledged' || a.state === 'acknowledged')).sort(byWorst)[0]
            const mark = alarm ? markOf(alarm) : null
            const usual = saidNormal(
              normal?.signals.find((n) => n.id === s.id),
              s.digits,
              s.unitText,
              s.value,
            )
            const letter = mark?.letter ?? null
            return (
              <tr key={s.id} class={letter ?? ''}>
                <Name site={body.id} signal={s} words={s.name} v={v} usual={usual?.has ? `${usual.text}${usual.outside ? `, ${usual.outside} it now` : ''}` : ''} />
                <td class="num">
                  <b class={`val ${v.kind}${letter ? ' word' : ''}`}>{v.text}</b>{' '}
                  <span class="u" aria-hidden="true">
                    {v.unit}
                  </span>
                  {v.unit && <span class="vh">{s.unitSpoken}</span>}
                </td>
                <td class="wireCell">
                  <Wire signal={s} mark={mark} shown={v} />
                  {s.limits.length > 0 && <span class="vh">{s.limits.map((l) => `limit ${l.name} ${figure(l.value, s.digits)}`).join(', ')}</span>}
                </td>
                <Age signal={s} nowMs={nowMs} />
              </tr>
            )
          })}
          {signals.length === 0 && (
            <tr>
              <td class="mute">No measured values on this loop, only states.</td>
            </tr>
          )}
        </tbody>
      </table>
    </section>
  )
}

/** States of machines and floats, counters beside them. Running is ink, never a coloured lamp. */
export function Runs({ body, signals }: { body: LoopDetailBody; signals: readonly SignalBody[] }) {
  const nowMs = now.value
  const states = signals.filter((s) => s.kind === 'state')
  return (
    <section>
      <h2 class="sec">What runs, what stands</h2>
      <table class="rows run">
        <thead class="vh">
          <tr>
            <th scope="col">Signal</th>
            <th scope="col">State</th>
            <th scope="col">Hours or counts</th>
            <th scope="col">Age</th>
          </tr>
        </thead>
        <tbody>
          {states.map((s) => {
            const v = shown(s, nowMs)
            const machine = body.equipment.find((e) => e.id === s.at)
            const hours = signals.find((x) => x.at === s.at && x.at !== null && x.quantity === 'hours')
            const stopped = s.quantity === 'run' && machine?.kind === 'aerator' && s.value === 0 && v.kind === 'good'
            return (
              <tr key={s.id}>
                <Name site={body.id} signal={s} words={s.quantity === 'run' && machine ? machine.name : s.name} v={v} />
                <td>
                  <span class={`val ${v.kind}${stopped ? ' strong' : ''}`}>{s.quantity === 'run' && v.text === 'stopped' && !stopped ? 'waits' : v.text}</span>
                </td>
                <td class="num mute">{hours?.value === null || hours?.value === undefined ? '' : measured(hours.value, 0, 'h')}</td>
                <Age signal={s} nowMs={nowMs} />
              </tr>
            )
          })}
          {signals
            .filter((s) => s.kind === 'counter' && s.quantity !== 'hours')
            .map((s) => {
              const v = shown(s, nowMs)
              return (
                <tr key={s.id}>
                  <Name site={body.id} signal={s} words={s.name} v={v} />
                  <td />
                  <td class="num">
                    {v.text} {v.unit}
                  </td>
                  <Age signal={s} nowMs={nowMs} />
                </tr>
              )
            })}
        </tbody>
      </table>
    </section>
  )
}

export function Standing({ body }: { body: LoopDetailBody }) {
  return (
    <section>
      <h2 class="sec">Not observed here</h2>
      <table class="rows due">
        <tbody>
          {body.notObserved.map((n) => (
            <tr key={n.what}>
              <th scope="row">
                {n.what}
                {n.seen === 'partly' && <span class="mute"> (partly seen)</span>}
              </th>
              <td>{n.unlock}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  )
}
