/** Takes one signal into its site file: a person says what it is, and that the guess is right; the answer names file and line. */
import { useSignal } from '@preact/signals'
import { useRef } from 'preact/hooks'
import type { AdoptedBody, UnassignedBody } from '../../server/wire.ts'
import { adoptSignal } from '../link/api.ts'
import type { Found } from './intake-unassigned.tsx'

interface Props {
  readonly found: Found
  readonly quantities: UnassignedBody['quantities']
  readonly places: readonly { readonly id: string; readonly name: string }[]
  readonly taken: (done: AdoptedBody) => void
}

export function AdoptForm({ found, quantities, places, taken }: Props) {
  const quantity = useSignal(found.guess?.quantity ?? '')
  const state = useSignal<{ readonly sending: boolean; readonly fault: string }>({ sending: false, fault: '' })
  const form = useRef<HTMLFormElement>(null)
  const chosen = quantities.find((q) => q.id === quantity.value)
  const units = (found.from ? chosen?.sentUnits : chosen?.units) ?? []
  const fail = (fault: string): void => {
    state.value = { sending: false, fault }
  }
  const submit = async (e: SubmitEvent): Promise<void> => {
    e.preventDefault()
    if (!form.current || state.value.sending) return
    const given = new FormData(form.current)
    const text = (name: string): string => {
      const v = given.get(name)
      return typeof v === 'string' ? v.trim() : ''
    }
    if (quantity.value === '') return fail('Nobody has said what it measures: choose it, or leave the signal where it is.')
    const signal = found.from ? text('signal') : found.signal
    if (signal === '') return fail('It needs an id under which its readings are kept, such as “bio1.do”.')
    state.value = { sending: true, fault: '' }
    const unit = text('unit')
    const r = await adoptSignal({
      site: found.site,
      signal,
      quantity: quantity.value,
      ...(unit && unit !== units[0]?.code && { unit }),
      ...(text('name') && { name: text('name') }),
      ...(text('in') && { in: text('in') }),
      ...(found.from && { from: found.from }),
    })
    if (!r.ok) return fail(r.status === 0 ? 'Not written: no link to the server. Press again when the link is back.' : `Not written: ${r.message}`)
    taken(r.body)
  }
  return (
    <form class="form adopt" ref={form} onSubmit={(e) => void submit(e)} aria-label={`Adopt ${found.signal}`}>
      {found.guess ? (
        <p>
          The guess is <b>{chosen?.word ?? found.guess.quantity}</b>, because {found.guess.because}. It is a guess: look at the panel or the wiring before you say yes.
        </p>
      ) : (
        <p>Nothing says what it is: look at the panel or the wiring, and choose.</p>
      )}
      {found.from && (
        <label>
          Kept under the id
          <input name="signal" defaultValue={found.signal} maxLength={170} autoComplete="off" autoCapitalize="off" spellcheck={false} />
        </label>
      )}
      <div class="pair">
        <label>
          It measures
          <select name="quantity" value={quantity.value} onChange={(e) => (quantity.value = e.currentTarget.value)}>
            <option value="">choose</option>
            {quantities.map((q) => (
              <option key={q.id} value={q.id}>
                {q.word === q.id ? q.word : `${q.word} (${q.id})`}
              </option>
            ))}
          </select>
        </label>
        <label>
          {found.from ? 'Sent in' : 'In the unit'}
          <select name="unit" key={quantity.value}>
            {units.map((u) => (
              <option key={u.code} value={u.code}>
                {u.text}
              </option>
            ))}
          </select>
        </label>
      </div>
      <label>
        Belongs to
        <select name="in">
          <option value="">what its id says</option>
          {places.map((p) => (
            <option key={p.id} value={p.id}>
              {p.name}
            </option>
          ))}
        </select>
      </label>
      <label>
        Name, if its id does not say enough
        <input name="name" maxLength={300} autoComplete="off" />
      </label>
      <button type="submit" class="btn main" aria-disabled={state.value.sending}>
        {state.value.sending ? 'Not written yet, trying' : chosen ? `Yes, it is ${chosen.word}: write it down` : 'Write it into the site file'}
      </button>
      {state.value.fault && (
        <p class="refused" role="alert">
          {state.value.fault}
        </p>
      )}
    </form>
  )
}
