/** What comes next on a loop: what is reached, runs out or falls due, when, and how sure that is; and what cannot be told. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { ForecastsBody, LoopDetailBody } from '../../server/wire.ts'
import { getForecasts } from '../link/api.ts'
import { saidComing, sorted, type Coming } from '../state/outlook.ts'
import { minute, now } from '../state/store.ts'
import { moment } from '../words/times.ts'

export function ComingNext({ body: loop }: { body: LoopDetailBody }) {
  const body = useSignal<ForecastsBody | null>(null)
  const fault = useSignal('')
  const beat = Math.floor(minute.value / 300_000)
  useEffect(() => {
    void getForecasts(loop.id).then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [loop.id, beat])
  if (body.value === null && fault.value === '') return null
  const { told, notInSight, withheld } = sorted(body.value?.expected ?? [])
  const nowMs = now.value
  return (
    <section class="coming" aria-labelledby="coming">
      <h2 class="sec" id="coming">
        What comes next
      </h2>
      {fault.value && <p class="refused">{fault.value}</p>}
      {body.value && (
        <p class="mute">The span holds the true time four times in five; its early end is the one to plan for. Worked out {moment(body.value.atMs, loop.zone, nowMs)}.</p>
      )}
      {body.value && told.length === 0 && (
        <p class="none">
          <b>Nothing can be dated on this loop now.</b>
        </p>
      )}
      {told.length > 0 && (
        <table class="rows next">
          <thead>
            <tr>
              <th scope="col">What</th>
              <th scope="col">When</th>
            </tr>
          </thead>
          <tbody>
            {told.map((e) => (
              <Told key={`${e.kind} ${e.id}`} coming={e} zone={loop.zone} nowMs={nowMs} />
            ))}
          </tbody>
        </table>
      )}
      {notInSight.length > 0 && (
        <>
          <h3>Not in sight</h3>
          <ul class="lacking">
            {notInSight.map((e) => (
              <li key={`${e.kind} ${e.id}`}>
                <b>{e.what}</b>
                <span class="mute">{e.why}</span>
              </li>
            ))}
          </ul>
        </>
      )}
      {withheld.length > 0 && (
        <>
          <h3>Cannot be told</h3>
          <ul class="lacking">
            {withheld.map((e) => (
              <li key={`${e.kind} ${e.id}`}>
                <b>{e.what}</b>
                <span>
                  {e.left && `${saidComing(e, loop.zone, nowMs).rests}. `}
                  <span class="mute">Withheld: {e.why}.</span> Unlock: {e.unlock}.
                </span>
              </li>
            ))}
          </ul>
        </>
      )}
    </section>
  )
}

function Told({ coming: e, zone, nowMs }: { coming: Coming; zone: string; nowMs: number }) {
  const s = saidComing(e, zone, nowMs)
  return (
    <tr>
      <th scope="row">
        {e.what}
        {s.rests && <span class="noteLine">{s.rests}</span>}
      </th>
      <td>
        <b>{s.when}</b>
        {s.between && <span class="noteLine">{s.between}</span>}
      </td>
    </tr>
  )
}
