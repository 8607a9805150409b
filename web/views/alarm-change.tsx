/** "Change this alarm": what is in force, what is to be, what that does, why; saved only after it has been looked at. */
import { useEffect, useRef } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { AlarmFieldsBody, ChangeableBody, InForceBody, PreviewBody } from '../../server/wire.ts'
import { getChangeable, previewChange, saveChange } from '../link/changes.ts'
import { to } from '../router.ts'
import { newDefinitions } from '../state/store.ts'
import { delayMs, delayText, FIELD_WORDS, fieldText, numberOf } from '../words/fields.ts'
import { measured } from '../words/numbers.ts'
import { RaisedUnder } from './raised-under.tsx'

export function ChangePage({ id }: { id: string }) {
  const found = useSignal<ChangeableBody | null>(null)
  const fault = useSignal('')
  const moved = useSignal(false)
  const ask = async (): Promise<void> => {
    const r = await getChangeable(id)
    fault.value = r.ok ? '' : r.message
    if (!r.ok) return
    found.value = r.body
    moved.value = false
  }
  useEffect(() => void ask(), [id])
  const site = id.slice(0, id.indexOf('/'))
  const defined = newDefinitions.value
  useEffect(() => {
    // Somebody else may be at it: say so, and leave what is being typed alone.
    if (defined?.site !== site || !found.peek()) return
    void getChangeable(id).then((r) => {
      if (r.ok && r.body.mark !== found.peek()?.mark) moved.value = true
    })
  }, [defined])
  const a = found.value
  document.title = `Change: ${a?.what ?? 'alarm'} · Loopkeeper`
  return (
    <main id="main" class="change">
      <div class="name">
        <h1>
          {a?.what ?? 'Change an alarm'}
          <small>{a ? 'Change this alarm' : ''}</small>
        </h1>
        <p>
          {a && <a href={to.loop(a.site)}>{a.siteName}</a>}
          <a href={to.alarm(id)}>The alarm</a>
          <a href={to.changes({ alarm: id })}>Its changes</a>
        </p>
      </div>
      {!a && <p class={fault.value ? 'refused' : 'mute'}>{fault.value || 'Asking the server.'}</p>}
      {moved.value && (
        <p class="refused" role="alert">
          This alarm has been changed while you were looking. What you see here is no longer in force.{' '}
          <button type="button" class="btn" onClick={() => void ask()}>
            Show what is in force
          </button>
        </p>
      )}
      {a && <ChangeForm key={a.mark} alarm={a} onSaved={() => void ask()} />}
    </main>
  )
}

const PRIORITIES = [
  ['high', 'high: now, day or night'],
  ['medium', 'medium: soon'],
  ['low', 'low: in working hours'],
  ['alert', 'alert: shown, calls nobody'],
] as const

function ChangeForm({ alarm: a, onSaved }: { alarm: ChangeableBody; onSaved: () => void }) {
  const form = useRef<HTMLFormElement>(null)
  const preview = useSignal<{ readonly fields: AlarmFieldsBody; readonly body: PreviewBody } | null>(null)
  const state = useSignal<{ readonly sending: boolean; readonly fault: string; readonly done: string }>({ sending: false, fault: '', done: '' })
  const fail = (fault: string): void => {
    state.value = { sending: false, fault, done: '' }
  }
  const text = (name: string): string => {
    const v = form.current ? new FormData(form.current).get(name) : null
    return typeof v === 'string' ? v.trim() : ''
  }
  const look = async (): Promise<void> => {
    const fields = read(a, text)
    if (typeof fields === 'string') return fail(fields)
    state.value = { sending: true, fault: '', done: '' }
    const r = await previewChange(a.alarm, fields)
    if (!r.ok) return fail(r.status === 0 ? r.message : `Not possible: ${r.message.replace(/\.$/, '')}.`)
    state.value = { sending: false, fault: '', done: '' }
    preview.value = { fields, body: r.body }
  }
  const save = async (): Promise<void> => {
    const p = preview.value
    if (!p || state.value.sending) return
    if (text('reason') === '') return fail('Say why: whoever is called by this alarm at night wants to know.')
    if (p.body.needsApprover && text('approver') === '') return fail('A second person must agree: write their name.')
    state.value = { sending: true, fault: '', done: '' }
    const r = await saveChange(a.alarm, { fields: p.fields, mark: a.mark, reason: text('reason'), ...(text('approver') && { approver: text('approver') }) })
    if (!r.ok) return fail(r.status === 0 ? 'Not saved: no link to the server. Press again when the link is back.' : `Not saved: ${r.message}`)
    preview.value = null
    onSaved()
  }
  const submit = (e: SubmitEvent): void => {
    e.preventDefault()
    if (!state.value.sending) void (preview.value ? save() : look())
  }
  const onInput = (e: InputEvent): void => {
    const name = e.target instanceof HTMLElement ? e.target.getAttribute('name') : null
    state.value = { sending: false, fault: '', done: '' }
    // What has been looked at is no longer what would be saved.
    if (name !== 'reason' && name !== 'approver') preview.value = null
  }
  const from = (field: string): string => (a.byPage.includes(field) ? 'changed in the page' : a.byFile.includes(field) ? 'from the site file' : 'default')
  const n = a.now
  return (
    <form class="form wideForm" ref={form} onSubmit={submit} onInput={onInput} aria-label="Change this alarm">
      {n.off && <p class="refused">This alarm is off: it is not watched.</p>}
      {a.raisedUnder && <RaisedUnder alarm={a} />}
      <label>
        Watched
        <select name="off" defaultValue={n.off ? 'off' : 'on'}>
          <option value="on" selected={!n.off}>
            on
          </option>
          <option value="off" selected={n.off}>
            off: nobody is told
          </option>
        </select>
        <small>{from('off')}</small>
      </label>
      <div class="pair">
        {n.limit !== null && <Field name="limit" words={`Limit${a.unit ? `, ${a.unit}` : ''}`} value={String(n.limit)} hint={from('limit')} decimal />}
        {n.deadband !== null && <Field name="deadband" words={`Deadband${a.unit ? `, ${a.unit}` : ''}`} value={String(n.deadband)} hint={from('deadband')} decimal />}
        {n.onDelayMs !== null && <Field name="onDelayMs" words="On-delay" value={delayText(n.onDelayMs)} hint={from('onDelayMs')} />}
        {n.offDelayMs !== null && <Field name="offDelayMs" words="Off-delay" value={delayText(n.offDelayMs)} hint={from('offDelayMs')} />}
      </div>
      {a.valueNow !== null && <p class="mute">Now {measured(a.valueNow, a.digits, a.unit)}.</p>}
      <label>
        Priority
        <select name="priority">
          {PRIORITIES.map(([id, words]) => (
            <option key={id} value={id} selected={n.priority === id}>
              {words}
            </option>
          ))}
        </select>
        <small>{from('priority')}</small>
      </label>
      <details>
        <summary>Its words, and the time to respond</summary>
        <Field name="respondWithinMin" words="Time to respond, min" value={String(n.respondWithinMin)} hint={from('respondWithinMin')} decimal />
        <Words name="cause" value={n.cause} />
        <Words name="consequence" value={n.consequence} />
        <Words name="action" value={n.action.join('\n')} hint="a step a line" />
      </details>
      {preview.value && <Preview p={preview.value.body} unit={a.unit} />}
      {preview.value && (
        <>
          <label>
            Why
            <textarea name="reason" rows={2} maxLength={500} required />
          </label>
          {preview.value.body.needsApprover && (
            <label>
              Second person who agrees
              <input name="approver" maxLength={100} autoComplete="off" required />
              <small>Of high priority, or it protects people. Until there are accounts this is a name you type: it says who was asked, it proves nothing.</small>
            </label>
          )}
        </>
      )}
      <div class="acts">
        <button type="submit" class="btn main" aria-disabled={state.value.sending}>
          {state.value.sending ? 'Asking the server' : preview.value ? 'Save this change' : 'Show what it does'}
        </button>
        <a class="btn" href={to.alarm(a.alarm)}>
          Leave it as it is
        </a>
      </div>
      <p role="status" class={state.value.fault ? 'refused' : ''}>
        {state.value.fault}
      </p>
    </form>
  )
}

function Field({ name, words, value, hint, decimal = false }: { name: string; words: string; value: string; hint: string; decimal?: boolean }) {
  return (
    <label>
      {words}
      <input name={name} defaultValue={value} autoComplete="off" maxLength={30} {...(decimal && { inputMode: 'decimal' as const })} />
      <small>{hint}</small>
    </label>
  )
}

function Words({ name, value, hint = '' }: { name: string; value: string; hint?: string }) {
  return (
    <label>
      {FIELD_WORDS[name]}
      <textarea name={name} rows={3} defaultValue={value} maxLength={4000} />
      {hint && <small>{hint}</small>}
    </label>
  )
}

/** The fields that differ from what is in force, or a sentence about one that cannot be read. */
function read(a: ChangeableBody, text: (name: string) => string): AlarmFieldsBody | string {
  const n = a.now
  const out: AlarmFieldsBody = {}
  for (const name of ['limit', 'deadband', 'respondWithinMin'] as const) {
    if (n[name] === null) continue
    const v = numberOf(text(name))
    if (v === null) return `${FIELD_WORDS[name]}: “${text(name)}” is no number: write it with a point, such as 7.2.`
    if (v !== n[name]) out[name] = v
  }
  for (const name of ['onDelayMs', 'offDelayMs'] as const) {
    if (n[name] === null) continue
    const v = delayMs(text(name))
    if (v === null) return `${FIELD_WORDS[name]}: “${text(name)}” is no length of time: write such as 30 s, 10 min or 2 h.`
    if (v !== n[name]) out[name] = v
  }
  if ((text('off') === 'off') !== n.off) out.off = !n.off
  const priority = PRIORITIES.find(([id]) => id === text('priority'))?.[0]
  if (priority && priority !== n.priority) out.priority = priority
  for (const name of ['cause', 'consequence'] as const) if (text(name) !== n[name]) out[name] = text(name)
  const steps = text('action')
    .split('\n')
    .map((s) => s.trim())
    .filter(Boolean)
  if (JSON.stringify(steps) !== JSON.stringify(n.action)) out.action = steps
  return Object.keys(out).length === 0 ? 'Nothing is changed yet: what stands here is in force.' : out
}

function Preview({ p, unit }: { p: PreviewBody; unit: string }) {
  const rows = [...p.moved.map((m) => m.field), 'detectionMs'] as readonly (keyof InForceBody)[]
  return (
    <div class="preview" role="status">
      <h2 class="sec">What it does</h2>
      <table class="rows">
        <thead>
          <tr>
            <th scope="col">
              <span class="vh">Field</span>
            </th>
            <th scope="col">Was</th>
            <th scope="col">Will be</th>
          </tr>
        </thead>
        <tbody>
          {rows.map((f) => (
            <tr key={f}>
              <th scope="row">{FIELD_WORDS[f]}</th>
              <td>{fieldText(f, p.was[f], unit)}</td>
              <td class="strong">{fieldText(f, p.is[f], unit)}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {p.warnings.length > 0 && (
        <ul class="hurt">
          {p.warnings.map((w) => (
            <li key={w}>{w.slice(0, 1).toUpperCase() + w.slice(1)}.</li>
          ))}
        </ul>
      )}
    </div>
  )
}
