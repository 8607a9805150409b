/** Planned work, rest, commissioning, end of contract: said in a small form, ended with one press; and who said what before. */
import { useSignal } from '@preact/signals'
import type { LoopDetailBody, StateHistoryBody } from '../../server/wire.ts'
import { endState, getState, setState } from '../link/api.ts'
import { now } from '../state/store.ts'
import { saidWords, STATE_SAY } from '../words/loop-state.ts'
import { moment } from '../words/times.ts'

const STATES = ['planned-work', 'resting', 'commissioning', 'out-of-contract', 'in-service'] as const

export function LoopStateForm({ body }: { body: LoopDetailBody }) {
  const chosen = useSignal<(typeof STATES)[number]>('planned-work')
  const until = useSignal('')
  const why = useSignal('')
  const sending = useSignal(false)
  const message = useSignal('')
  const said = useSignal<StateHistoryBody['history'] | null>(null)
  const { state, zone } = body
  const nowMs = now.value
  const send = async (ask: () => Promise<{ readonly ok: true } | { readonly ok: false; readonly status: number; readonly message: string }>): Promise<void> => {
    if (sending.value) return
    sending.value = true
    message.value = ''
    const r = await ask()
    sending.value = false
    message.value = r.ok ? 'Said.' : r.status === 0 ? 'Not said: no link to the server.' : r.message.replace(/^body: /, '')
    if (r.ok) said.value = null
  }
  const running = [
    ...(state.work ? (['planned-work'] as const) : []),
    ...(state.life.state === 'in-service' || state.life.state === 'planned-work' || state.life.state === 'on-site' ? [] : [state.life.state]),
  ]
  return (
    <details>
      <summary>Planned work, rest, commissioning, end of contract</summary>
      {running.map((s) => (
        <p key={s}>
          <button type="button" class="btn" aria-disabled={sending.value} onClick={() => void send(() => endState(body.id, s))}>
            End {STATE_SAY[s]}
          </button>
        </p>
      ))}
      <form
        class="form"
        onSubmit={(e) => {
          e.preventDefault()
          void send(() => setState(body.id, { state: chosen.value, ...(until.value && { until: until.value }), ...(why.value.trim() && { why: why.value.trim() }) }))
        }}
      >
        <label>
          The loop is
          <select value={chosen.value} onChange={(e) => (chosen.value = STATES.find((s) => s === e.currentTarget.value) ?? 'planned-work')}>
            {STATES.map((s) => (
              <option key={s} value={s}>
                {STATE_SAY[s]}
              </option>
            ))}
          </select>
        </label>
        <label>
          Until, by the clock at the yard{chosen.value === 'planned-work' ? '' : ' (may be left open)'}
          <input type="datetime-local" value={until.value} required={chosen.value === 'planned-work'} onInput={(e) => (until.value = e.currentTarget.value)} />
        </label>
        <label>
          Why
          <input
            maxLength={300}
            autoComplete="off"
            value={why.value}
            required={chosen.value === 'planned-work' || chosen.value === 'out-of-contract'}
            onInput={(e) => (why.value = e.currentTarget.value)}
          />
        </label>
        <button type="submit" class="btn" aria-disabled={sending.value}>
          {sending.value ? 'Not said yet, trying' : 'Say so'}
        </button>
        <p role="status">{message.value}</p>
      </form>
      <details
        onToggle={(e) => {
          if (e.currentTarget.open) void getState(body.id).then((r) => (said.value = r.ok ? r.body.history : []))
        }}
      >
        <summary>Who said what before</summary>
        {said.value?.length === 0 && <p class="mute">Nothing yet.</p>}
        <ul class="said">
          {said.value?.map((r) => (
            <li key={`${r.recordedMs} ${r.act} ${r.state}`}>
              {moment(r.atMs, zone, nowMs)} {saidWords(r, zone, nowMs)}
              {r.why && `: ${r.why}`} <span class="mute">{r.by}</span>
            </li>
          ))}
        </ul>
      </details>
    </details>
  )
}
