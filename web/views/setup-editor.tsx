/** A site file as a form and as text, two views of one draft. What it does is shown before it is saved, and nothing is saved past somebody else. */
import { useEffect, useRef } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { SiteFileBody, SiteFileRequest, SiteFileSavedBody, SiteFileTriedBody } from '../../server/wire.ts'
import { getSiteFile, saveSiteFile, trySiteFile } from '../link/setup.ts'
import { to } from '../router.ts'
import { editList, withEdit, type Edits } from '../state/edits.ts'
import { SiteForm, type FieldValue } from './setup-form.tsx'
import { Preview } from './setup-preview.tsx'
import { Secret } from './setup-secret.tsx'
import { SiteText } from './setup-text.tsx'

export type Fault = SiteFileBody['faults'][number]

interface Props {
  readonly file: string
  readonly text: string
  readonly fields: SiteFileBody['fields']
  readonly mark: string
  readonly faults: readonly Fault[]
  readonly locked: string | null
  readonly inForce: SiteFileBody['inForce']
  readonly isNew?: boolean
}

const LOOK_AFTER_MS = 700

export function Editor(given: Props) {
  const { file, locked, isNew = false } = given
  const view = useSignal<'form' | 'text'>(given.fields ? 'form' : 'text')
  /** The text the fields of the form are laid over. */
  const base = useSignal({ mark: given.mark, text: given.text, fields: given.fields, version: 0 })
  const onDisk = useSignal(given.isNew ? '' : given.text)
  const edits = useSignal<Edits<FieldValue>>(new Map())
  const faults = useSignal<readonly Fault[]>(given.faults)
  const tried = useSignal<SiteFileTriedBody | null>(null)
  const saved = useSignal<SiteFileSavedBody | null>(null)
  const state = useSignal<{ readonly sending: boolean; readonly fault: string; readonly stale: boolean }>({ sending: false, fault: '', stale: false })
  const lost = useSignal('')
  const reason = useRef<HTMLTextAreaElement>(null)
  const timer = useRef<ReturnType<typeof setTimeout> | undefined>(undefined)
  const asked = useRef(0)
  useEffect(() => () => clearTimeout(timer.current), [])
  const unsaved = edits.value.size > 0 || base.value.text !== onDisk.value
  useEffect(() => {
    if (!unsaved) return undefined
    const hold = (e: BeforeUnloadEvent): void => e.preventDefault()
    addEventListener('beforeunload', hold)
    return () => removeEventListener('beforeunload', hold)
  }, [unsaved])

  const request = (): SiteFileRequest => ({
    mark: base.value.mark,
    text: base.value.text,
    ...(edits.value.size > 0 && { edits: editList(edits.value) as never }),
  })
  const fail = (fault: string, stale = false): void => {
    state.value = { sending: false, fault, stale }
  }
  /** Asks what the draft would do; the answer is dropped when more has been typed since. */
  const look = async (): Promise<SiteFileTriedBody | null> => {
    const mine = ++asked.current
    const r = await trySiteFile(file, request())
    if (mine !== asked.current) return null
    if (!r.ok) {
      fail(r.status === 0 ? r.message : `Not possible: ${r.message}.`, r.code === 'stale-file')
      return null
    }
    faults.value = r.body.faults
    return r.body
  }
  const changed = (): void => {
    tried.value = null
    saved.value = null
    if (!state.value.stale) state.value = { sending: false, fault: '', stale: false }
    asked.current++
    clearTimeout(timer.current)
    timer.current = setTimeout(() => void look(), LOOK_AFTER_MS)
  }
  const show = async (): Promise<void> => {
    if (state.value.sending) return
    clearTimeout(timer.current)
    state.value = { sending: true, fault: '', stale: false }
    const body = await look()
    if (!body) return void (state.value.sending && fail(''))
    if (body.faults.length > 0)
      return fail(
        body.faults.length === 1
          ? 'One thing is not right yet: it is told beside its field.'
          : `${body.faults.length} things are not right yet: they are told beside their fields.`,
      )
    if (body.diff.length === 0) return fail('Nothing is changed yet: the file says this already.')
    fail('')
    tried.value = body
  }
  const save = async (): Promise<void> => {
    if (state.value.sending) return
    const why = reason.current?.value.trim() ?? ''
    if (why === '') return fail('Say why: whoever looks after this loop next wants to know.')
    state.value = { sending: true, fault: '', stale: false }
    const r = await saveSiteFile(file, { ...request(), reason: why })
    if (!r.ok) return fail(r.status === 0 ? 'Not saved: no link to the server. Press again when the link is back.' : `Not saved: ${r.message}.`, r.code === 'stale-file')
    const text = tried.value?.text ?? base.value.text
    base.value = { mark: r.body.mark, text, fields: tried.value?.fields ?? base.value.fields, version: base.value.version + 1 }
    onDisk.value = text
    edits.value = new Map()
    tried.value = null
    saved.value = r.body
    fail('')
  }
  /** The draft as it stands becomes the text both views start from. */
  const turn = async (next: 'form' | 'text'): Promise<void> => {
    if (next === view.value) return
    clearTimeout(timer.current)
    const body = await look()
    if (!body) return
    if (next === 'form' && body.fields === null) return fail('The text cannot be read as YAML, so there is no form of it yet: put right what is told beside its line.')
    base.value = { ...base.value, text: body.text, fields: body.fields, version: base.value.version + 1 }
    edits.value = new Map()
    view.value = next
    if (!state.value.stale) fail('')
  }
  /** What is on disk now. What was changed in the form is laid over it; a text of one's own is put aside. */
  const again = async (): Promise<void> => {
    const r = await getSiteFile(file)
    if (!r.ok) return fail(r.message)
    if (view.value === 'text') lost.value = base.value.text
    onDisk.value = r.body.text
    base.value = { mark: r.body.mark, text: r.body.text, fields: r.body.fields, version: view.value === 'text' ? base.value.version + 1 : base.value.version }
    if (view.value === 'text') edits.value = new Map()
    tried.value = null
    fail('')
    await look()
  }
  const { fields, version } = base.value
  return (
    <div class="editor">
      <div class="tools" role="group" aria-label="View">
        <button type="button" class="btn" aria-pressed={view.value === 'form'} onClick={() => void turn('form')}>
          Form
        </button>
        <button type="button" class="btn" aria-pressed={view.value === 'text'} onClick={() => void turn('text')}>
          Text
        </button>
        <p>{view.value === 'form' ? 'What most people change; the rest stands in the text. Remarks and order of the file stay.' : 'The file itself, with every field.'}</p>
      </div>
      <form
        class="form wideForm"
        aria-label={view.value === 'form' ? 'Site' : 'Text of the site file'}
        onSubmit={(e) => {
          e.preventDefault()
          void (tried.value ? save() : show())
        }}
      >
        {view.value === 'form' && fields ? (
          <SiteForm
            key={version}
            fields={fields}
            faults={faults.value}
            inForce={given.inForce}
            set={(path, value) => {
              edits.value = withEdit(edits.value, path, value)
              changed()
            }}
          />
        ) : (
          <SiteText
            key={version}
            text={base.value.text}
            faults={faults.value}
            set={(text) => {
              base.value = { ...base.value, text }
              changed()
            }}
          />
        )}
        {tried.value && <Preview tried={tried.value} />}
        {tried.value && locked === null && (
          <label>
            Why
            <textarea ref={reason} name="reason" rows={2} maxLength={300} required />
            <small>It goes into the site log with your name.</small>
          </label>
        )}
        <div class="save">
          <div class="acts">
            {!(tried.value && locked !== null) && (
              <button type="submit" class="btn main" aria-disabled={state.value.sending}>
                {state.value.sending ? 'Asking the server' : tried.value ? 'Save the file' : 'Show what it does'}
              </button>
            )}
            <a class="btn" href={to.setup()}>
              Leave it as it is
            </a>
          </div>
          <div role="status">
            {tried.value && locked !== null && <p class="refused">It cannot be saved. {locked}</p>}
            {state.value.fault && <p class="refused">{state.value.fault}</p>}
            {state.value.stale && !isNew && (
              <button type="button" class="btn" onClick={() => void again()}>
                Show the file as it is now
              </button>
            )}
            {saved.value && (
              <p class="taken">
                Saved: {saved.value.file}. The gateway follows it within 5 s; the file before is kept. <a href={to.loop(saved.value.site)}>The loop</a>
              </p>
            )}
            {saved.value?.secret && <Secret site={saved.value.site} secret={saved.value.secret} />}
          </div>
        </div>
        {lost.value && (
          <details>
            <summary>What you had written</summary>
            <pre class="kept">{lost.value}</pre>
          </details>
        )}
      </form>
    </div>
  )
}
