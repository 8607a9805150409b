/** On site: "I am here" and "I leave" with one press, what the state of the loop does, and what runs again after a visit. */
import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { LoopDetailBody, LoopStateBody } from '../../server/wire.ts'
import { checkIn, checkOut, getMe, type Answer } from '../link/api.ts'
import { now } from '../state/store.ts'
import { USUAL_HOURS, visitEnds } from '../state/visit-times.ts'
import { clock, moment } from '../words/times.ts'
import { CheckResult } from './check-result.tsx'
import { LoopStateForm } from './loop-state-form.tsx'
import { StateTag } from './state-tag.tsx'

export function OnSite({ body }: { body: LoopDetailBody }) {
  const me = useSignal<string | null>(null)
  const hours = useSignal<number>(USUAL_HOURS)
  const why = useSignal('')
  const sending = useSignal(false)
  const refused = useSignal('')
  useEffect(() => {
    void getMe().then((r) => {
      if (r.ok) me.value = r.body.name
    })
  }, [])
  const { state, zone } = body
  const nowMs = now.value
  const mine = state.visits.find((v) => v.person === me.value)
  const ends = visitEnds(nowMs)
  const end = ends.find((e) => e.hours === hours.value) ?? ends[0]
  const say = async (ask: () => Promise<Answer<LoopStateBody>>): Promise<void> => {
    if (sending.value) return
    sending.value = true
    refused.value = ''
    const r = await ask()
    sending.value = false
    if (!r.ok) refused.value = r.status === 0 ? 'Not said: no link to the server. Press again when it is back, or call the desk.' : r.message.replace(/^body(?: field \w+)?: /, '')
  }
  const here = (): Promise<void> => say(() => checkIn(body.id, { until: String(end?.atMs ?? ''), ...(why.value.trim() && { why: why.value.trim() }) }))
  const label = sending.value ? 'Not said yet, trying' : null
  return (
    <section class="onSite" aria-label="On site">
      <div class="bar">
        <h2>On site</h2>
        <StateTag loop={body} nowMs={nowMs} />
        {state.is === 'in-service' && <span class="mute">nobody there</span>}
      </div>
      {state.visits.map((v) => (
        <p key={v.person} class={v.overdue ? 'own' : ''}>
          <b>{v.person === me.value ? 'You' : v.person}</b> {v.person === me.value ? 'are' : 'is'} here since {moment(v.fromMs, zone, nowMs)}, until{' '}
          {moment(v.untilMs, zone, nowMs)}
          {v.why && `: ${v.why}`}.{v.overdue && ' Check-out overdue: call, and have somebody look from outside.'}
        </p>
      ))}
      <div class="acts">
        {mine ? (
          <button type="button" class="btn main" aria-disabled={sending.value} onClick={() => void say(() => checkOut(body.id, {}))}>
            {label ?? 'I leave'}
          </button>
        ) : (
          <button type="button" class="btn main" aria-disabled={sending.value || me.value === null} onClick={() => me.value !== null && void here()}>
            {label ?? `I am here until ${end ? clock(end.atMs, zone) : ''}`}
          </button>
        )}
        {state.visits
          .filter((v) => v !== mine)
          .map((v) => (
            <button key={v.person} type="button" class="btn" aria-disabled={sending.value} onClick={() => void say(() => checkOut(body.id, { person: v.person }))}>
              {v.person} has left
            </button>
          ))}
      </div>
      {refused.value && (
        <p class="refused" role="alert">
          {refused.value}
        </p>
      )}
      <details>
        <summary>{mine ? 'Stay longer' : 'Another time, and what for'}</summary>
        <form
          class="form"
          onSubmit={(e) => {
            e.preventDefault()
            void here()
          }}
        >
          <label>
            Until
            <select value={String(hours.value)} onChange={(e) => (hours.value = Number(e.currentTarget.value))}>
              {ends.map((e) => (
                <option key={e.hours} value={e.hours}>
                  {clock(e.atMs, zone)}, {e.hours === 1 ? 'an hour' : `${e.hours} h`}
                </option>
              ))}
            </select>
          </label>
          <label>
            For
            <input maxLength={300} autoComplete="off" value={why.value} onInput={(e) => (why.value = e.currentTarget.value)} />
          </label>
          <button type="submit" class="btn" aria-disabled={sending.value || me.value === null}>
            {label ?? (mine ? `Stay until ${end ? clock(end.atMs, zone) : ''}` : `I am here until ${end ? clock(end.atMs, zone) : ''}`)}
          </button>
        </form>
      </details>
      {state.words.map((w) => (
        <p key={w} class="mute">
          {w}
        </p>
      ))}
      {state.checks.map((c) => (
        <CheckResult key={`${c.kind} ${c.sinceMs}`} check={c} zone={zone} nowMs={nowMs} />
      ))}
      <LoopStateForm body={body} />
    </section>
  )
}
