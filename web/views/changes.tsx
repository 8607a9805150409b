/** Changes of alarms, newest first, each with who, why, what was and what became; and the way to take one back. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { ChangeBody, ChangesBody } from '../../server/wire.ts'
import { getChanges, undoChange } from '../link/changes.ts'
import { here, to } from '../router.ts'
import { newDefinitions, now } from '../state/store.ts'
import { FIELD_WORDS, fieldText } from '../words/fields.ts'
import { moment, offset, ownZone } from '../words/times.ts'
import { Filters, LoopChoice } from './filters.tsx'

const FILTERS = ['site', 'alarm', 'by'] as const

export function Changes() {
  const query = here.value.query
  const asked = new URLSearchParams(FILTERS.flatMap((f) => (query.get(f) ? [[f, query.get(f) ?? '']] : [])))
  const pages = useSignal<ChangesBody | null>(null)
  const fault = useSignal('')
  const load = async (before?: number): Promise<void> => {
    const q = new URLSearchParams(asked)
    if (before !== undefined) q.set('before', String(before))
    const r = await getChanges(q)
    fault.value = r.ok ? '' : r.message
    if (r.ok) pages.value = { changes: before === undefined ? r.body.changes : [...(pages.peek()?.changes ?? []), ...r.body.changes], more: r.body.more }
  }
  useEffect(() => void load(), [asked.toString(), newDefinitions.value])
  const all = pages.value
  const last = all?.changes.at(-1)
  return (
    <div class="wide">
      <Filters tab="changes" names={FILTERS}>
        <LoopChoice />
        <label>
          Person
          <input name="by" defaultValue={query.get('by') ?? ''} maxLength={100} autoComplete="off" />
        </label>
      </Filters>
      {fault.value && <p class="refused">{fault.value}</p>}
      {!all && !fault.value && <p class="mute">Asking the server.</p>}
      {all && (
        <p class="mute">
          Changes made in the page, newest first; the default comes first, over it the site file, over it the newest change made here. None is ever altered. Times of this browser,{' '}
          {offset(now.value, ownZone())}.
        </p>
      )}
      {all?.changes.length === 0 && (
        <p class="nobody">
          <b>No alarm has been changed{asked.size > 0 ? ' that this asks for' : ''}.</b> An alarm is changed from its own page.
        </p>
      )}
      {all && all.changes.length > 0 && (
        <table class="list stack">
          <thead>
            <tr>
              <th scope="col">No.</th>
              <th scope="col">When</th>
              <th scope="col">Loop</th>
              <th scope="col">Alarm</th>
              <th scope="col">Was, and became</th>
              <th scope="col">Who and why</th>
              <th scope="col">
                <span class="vh">Take back</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {all.changes.map((c) => (
              <Row key={c.id} change={c} undone={all.changes.find((x) => x.undoes === c.id)?.id ?? null} />
            ))}
          </tbody>
        </table>
      )}
      {all?.more && last && (
        <button type="button" class="btn" onClick={() => void load(last.id)}>
          Older
        </button>
      )}
    </div>
  )
}

function Row({ change: c, undone }: { change: ChangeBody; undone: number | null }) {
  return (
    <tr>
      <td>{c.id}</td>
      <td class="nowrap">{moment(c.atMs, ownZone(), now.value)}</td>
      <td>
        <a href={to.loop(c.site)}>{c.siteName}</a>
      </td>
      <td>
        <a href={to.change(c.alarm)}>{c.what}</a>
      </td>
      <td>
        {c.moved.map((m) => (
          <span key={m.field} class="block">
            {FIELD_WORDS[m.field] ?? m.field}: {fieldText(m.field, m.was, c.unit)} → <b>{fieldText(m.field, m.is, c.unit)}</b>
          </span>
        ))}
      </td>
      <td>
        <b>{c.by}</b>
        {c.approver && `, agreed by ${c.approver}`}
        {c.undoes !== null && `, takes back ${c.undoes}`}: “{c.reason}”
      </td>
      <td>{undone === null ? <Undo change={c} /> : <span class="mute">taken back by {undone}</span>}</td>
    </tr>
  )
}

/** Two steps: the button asks why, and then it is done. */
function Undo({ change: c }: { change: ChangeBody }) {
  const open = useSignal(false)
  const sending = useSignal(false)
  const fault = useSignal('')
  const submit = async (e: SubmitEvent & { readonly currentTarget: HTMLFormElement }): Promise<void> => {
    e.preventDefault()
    if (sending.value) return
    const given = new FormData(e.currentTarget)
    const text = (name: string): string => {
      const v = given.get(name)
      return typeof v === 'string' ? v.trim() : ''
    }
    sending.value = true
    const r = await undoChange(c.id, { reason: text('reason'), ...(text('approver') && { approver: text('approver') }) })
    sending.value = false
    fault.value = r.ok ? '' : `Not taken back: ${r.message}`
    if (r.ok) open.value = false
  }
  if (!open.value)
    return (
      <button type="button" class="btn" onClick={() => (open.value = true)} aria-label={`Take back change ${c.id}`}>
        Take back
      </button>
    )
  return (
    <form class="form" onSubmit={(e) => void submit(e)} aria-label={`Take back change ${c.id}`}>
      <label>
        Why
        <input name="reason" maxLength={500} required autoComplete="off" />
      </label>
      {c.needsApprover && (
        <label>
          Second person who agrees
          <input name="approver" maxLength={100} required autoComplete="off" />
        </label>
      )}
      <button type="submit" class="btn main" aria-disabled={sending.value}>
        Take it back
      </button>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
    </form>
  )
}
