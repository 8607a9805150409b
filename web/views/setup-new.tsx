/** A new site: a short form or a copy of another, then the same editor as for any site. */
import { useEffect, useRef } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { SetupBody, SiteFileTriedBody } from '../../server/wire.ts'
import { draftSite, getSetup } from '../link/setup.ts'
import { to } from '../router.ts'
import { ownZone } from '../words/times.ts'
import { Editor } from './setup-editor.tsx'

export function NewSitePage() {
  const setup = useSignal<SetupBody | null>(null)
  const draft = useSignal<SiteFileTriedBody | null>(null)
  const state = useSignal<{ readonly sending: boolean; readonly fault: string }>({ sending: false, fault: '' })
  const form = useRef<HTMLFormElement>(null)
  const copied = useSignal('')
  useEffect(() => {
    void getSetup().then((r) => {
      if (r.ok) setup.value = r.body
      else state.value = { sending: false, fault: r.message }
    })
  }, [])
  document.title = 'Add a site · Loopkeeper'
  const submit = async (e: SubmitEvent): Promise<void> => {
    e.preventDefault()
    if (!form.current || state.value.sending) return
    const given = new FormData(form.current)
    const text = (name: string): string => {
      const v = given.get(name)
      return typeof v === 'string' ? v.trim() : ''
    }
    state.value = { sending: true, fault: '' }
    const r = await draftSite({
      id: text('id'),
      name: text('name'),
      zone: text('zone'),
      ...(text('area') && { area: text('area') }),
      ...(text('copyOf') ? { copyOf: text('copyOf') } : { bioTanks: Number(text('bioTanks')) }),
    })
    state.value = { sending: false, fault: r.ok ? '' : `Not possible: ${r.message.replace(/^body field /, '')}` }
    if (r.ok) draft.value = r.body
  }
  const d = draft.value
  return (
    <main id="main" class="change setup">
      <div class="name">
        <h1>
          <small>
            <a href={to.setup()}>Setup</a>
          </small>
          {d ? `New site: ${d.file}` : 'Add a site'}
        </h1>
      </div>
      {setup.value?.locked && <p class="own">{setup.value.locked}</p>}
      {d ? (
        <Editor file={d.file} text={d.text} fields={d.fields} mark={d.mark} faults={d.faults} locked={setup.value?.locked ?? null} inForce={{}} isNew />
      ) : (
        <form class="form" ref={form} onSubmit={(e) => void submit(e)} aria-label="New site">
          <label>
            Name
            <input name="name" required maxLength={300} autoComplete="off" />
          </label>
          <label>
            Id
            <input name="id" required maxLength={63} autoComplete="off" autoCapitalize="none" />
            <small>lower-case letters, digits, - and _. It stands in every topic and cannot be changed later.</small>
          </label>
          <label>
            Time zone
            <input name="zone" required defaultValue={ownZone()} maxLength={60} autoComplete="off" />
          </label>
          <label>
            Area
            <input name="area" maxLength={300} autoComplete="off" />
          </label>
          <label>
            Begin from
            <select name="copyOf" value={copied.value} onChange={(e) => (copied.value = e.currentTarget.value)}>
              <option value="">the usual train</option>
              {setup.value?.files
                .filter((f) => f.faults.length === 0)
                .map((f) => (
                  <option key={f.file} value={f.file}>
                    a copy of {f.name ?? f.file}
                  </option>
                ))}
            </select>
            {copied.value && <small>Stages, machines, signals, protections and stocks are copied. What belongs to that yard, its alarms and the dates of proofs are not.</small>}
          </label>
          {copied.value === '' && (
            <label>
              Bio tanks
              <select name="bioTanks">
                {[1, 2, 3, 4].map((n) => (
                  <option key={n} value={n}>
                    {n}
                  </option>
                ))}
              </select>
            </label>
          )}
          <button type="submit" class="btn main" aria-disabled={state.value.sending}>
            {state.value.sending ? 'Asking the server' : 'Go on'}
          </button>
          <p role="status" class={state.value.fault ? 'refused' : ''}>
            {state.value.fault}
          </p>
        </form>
      )}
    </main>
  )
}
