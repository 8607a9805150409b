/** The form of the site log: what kind, of what, where, how much, when. Choices are buttons, because a thumb does not type well. */
import { useSignal } from '@preact/signals'
import { useRef } from 'preact/hooks'
import type { LoopDetailBody, StageBody } from '../../server/wire.ts'
import { addEntry } from '../link/api.ts'
import { now } from '../state/store.ts'
import { ENTRY_WORDS } from '../words/words.ts'

interface Fields {
  readonly item?: readonly string[]
  /** Unit of an item that has another than the usual one of its kind. */
  readonly unitOf?: Readonly<Record<string, string>>
  /** Place is one of the protections of the loop. */
  readonly protection?: boolean
  /** Label of the figure, when there is one. */
  readonly value?: string
  readonly unit?: string
  readonly asFound?: boolean
  readonly below?: boolean
  readonly text: string
}

/** Which fields each kind asks for, and examples of what is written there. */
const FORM: Readonly<Record<string, Fields>> = {
  observation: { item: ['no foam', 'white foam', 'brown foam', 'smell', 'cloudy water', 'oil sheen', 'dark water'], text: 'What was seen' },
  kit: {
    item: ['alkalinity', 'ammonium', 'phosphate', 'COD', 'hardness', 'oil', 'pH', 'oxygen'],
    value: 'Value',
    unit: 'mg/L',
    unitOf: { pH: '' },
    below: true,
    text: 'Method, sample point',
  },
  calibration: {
    item: ['pH', 'oxygen', 'redox', 'level', 'conductivity'],
    unitOf: { oxygen: 'mg/L', redox: 'mV', level: '%', conductivity: 'uS/cm' },
    value: 'As left',
    asFound: true,
    text: 'Buffers, probe or cap number',
  },
  refill: { item: ['acid', 'nutrient', 'microbes', 'bicarbonate', 'alum'], value: 'Now in the drum', unit: 'L', text: 'Delivery, batch' },
  replacement: { item: ['paper roll', 'controller', 'probe', 'pump', 'meter', 'blower'], text: 'Which one, number' },
  blowdown: { item: ['sludge', 'water', 'spent paper'], value: 'Amount', unit: 'L', text: 'Where it went, document number' },
  'unusual-wash': { item: ['degreaser', 'bleach', 'oil', 'paint', 'concrete', 'heavy soil'], text: 'What and how much' },
  'visit-in': { text: 'Why' },
  'visit-out': { text: 'What was done; do all machines run again?' },
  'interlock-proved': { protection: true, text: 'How it was shown' },
  'gas-measured': { item: ['hydrogen sulphide', 'ozone'], value: 'Second meter showed', unit: 'ppm', text: 'Where, how long it was ventilated' },
  complaint: { item: ['smell', 'noise', 'foam', 'water quality'], text: 'Who, wind if known' },
  note: { text: 'Note' },
}
/** Most written first. */
const KINDS = [...Object.keys(FORM), ...Object.keys(ENTRY_WORDS).filter((k) => !(k in FORM))]
const WHEN = [
  [0, 'just now'],
  [15, '15 min ago'],
  [60, 'an hour ago'],
  [240, '4 hours ago'],
  [1440, 'yesterday at this time'],
] as const

export function LogForm({ site, stages, protections }: { site: string; stages: readonly StageBody[]; protections: LoopDetailBody['protections'] }) {
  const kind = useSignal('observation')
  const item = useSignal('')
  const state = useSignal<{ kind: 'ready' | 'sending' | 'done' | 'failed'; message: string }>({ kind: 'ready', message: '' })
  const form = useRef<HTMLFormElement>(null)
  const fields = FORM[kind.value] ?? { text: 'Note' }
  const fail = (message: string): void => {
    state.value = { kind: 'failed', message }
  }
  const submit = async (e: SubmitEvent): Promise<void> => {
    e.preventDefault()
    if (!form.current || state.value.kind === 'sending') return
    const given = new FormData(form.current)
    const text = (name: string): string => {
      const v = given.get(name)
      return typeof v === 'string' ? v.trim() : ''
    }
    const number = (name: string): number | undefined => (text(name) === '' ? undefined : Number(text(name).replace(',', '.').replace('\u2212', '-')))
    const value = number('value')
    const asFound = number('asFound')
    for (const name of ['value', 'asFound']) if (Number.isNaN(number(name))) return fail(`“${text(name)}” is no number: write it with a point, such as 7.2.`)
    if (fields.below && given.get('below') && value === undefined) return fail('“Less than” needs the value it is less than.')
    state.value = { kind: 'sending', message: '' }
    const r = await addEntry({
      site,
      kind: kind.value,
      atMs: Math.round(now.peek() - Number(text('ago')) * 60_000),
      ...(text('about') && { about: text('about') }),
      ...(item.value.trim() && { item: item.value.trim() }),
      ...(value !== undefined && { value }),
      ...(asFound !== undefined && { asFound }),
      ...(value !== undefined && text('unit') && { unit: text('unit') }),
      ...(given.get('below') && { below: true }),
      ...(text('text') && { text: text('text') }),
    })
    if (!r.ok)
      return fail(
        r.status === 0 ? 'Not written: no link to the server. What you typed stays here; press again when the link is back.' : `Not written: ${r.message.replace(/^body: /, '')}.`,
      )
    form.current.reset()
    item.value = ''
    state.value = { kind: 'done', message: 'Written.' }
  }
  return (
    <form class="form" ref={form} onSubmit={(e) => void submit(e)} onInput={() => state.value.kind !== 'sending' && (state.value = { kind: 'ready', message: '' })}>
      <label>
        What kind
        <select
          name="kind"
          value={kind.value}
          onChange={(e) => {
            kind.value = e.currentTarget.value
            item.value = ''
          }}
        >
          {KINDS.map((id) => (
            <option key={id} value={id}>
              {ENTRY_WORDS[id] ?? id}
            </option>
          ))}
        </select>
      </label>
      {fields.item && <Choice words={fields.item} chosen={item.value} pick={(w) => (item.value = w)} />}
      {fields.protection && protections.length > 0 && (
        <label>
          Which protection
          <select name="about" required>
            <option value="">choose one</option>
            {protections.map((p) => (
              <option key={p.id} value={p.id}>
                {p.what}
              </option>
            ))}
          </select>
        </label>
      )}
      {stages.length > 0 && !fields.protection && !kind.value.startsWith('visit') && (
        <label>
          Where
          <select name="about">
            <option value="">the whole loop</option>
            {stages.map((s) => (
              <option key={s.id} value={s.id}>
                {s.name}
              </option>
            ))}
          </select>
        </label>
      )}
      {fields.asFound && (
        <label>
          As found
          <input name="asFound" inputMode="decimal" autoComplete="off" />
        </label>
      )}
      {fields.value && (
        <div class="pair">
          <label>
            {fields.value}
            <input name="value" inputMode="decimal" autoComplete="off" />
          </label>
          <label>
            Unit
            <input key={`${kind.value} ${item.value}`} name="unit" defaultValue={fields.unitOf?.[item.value] ?? fields.unit ?? ''} maxLength={20} />
          </label>
        </div>
      )}
      {fields.below && (
        <label class="tick">
          <input type="checkbox" name="below" /> less than this (under the detection limit)
        </label>
      )}
      <label>
        {fields.text}
        <textarea name="text" rows={2} maxLength={500} />
      </label>
      <label>
        When
        <select name="ago">
          {WHEN.map(([minutes, words]) => (
            <option key={minutes} value={minutes}>
              {words}
            </option>
          ))}
        </select>
      </label>
      <button type="submit" class="btn main" aria-disabled={state.value.kind === 'sending'}>
        {state.value.kind === 'sending' ? 'Not written yet, trying' : 'Write it down'}
      </button>
      <p role="status" class={state.value.kind === 'failed' ? 'refused' : ''}>
        {state.value.message}
      </p>
    </form>
  )
}

/** The usual words as buttons, and a line for what is not among them. */
function Choice({ words, chosen, pick }: { words: readonly string[]; chosen: string; pick: (word: string) => void }) {
  return (
    <fieldset>
      <legend>Of what</legend>
      <div class="chips">
        {words.map((w) => (
          <button key={w} type="button" class="btn" aria-pressed={chosen === w} onClick={() => pick(chosen === w ? '' : w)}>
            {w}
          </button>
        ))}
      </div>
      <label class="other">
        or another
        <input maxLength={80} autoComplete="off" value={words.includes(chosen) ? '' : chosen} onInput={(e) => pick(e.currentTarget.value)} />
      </label>
    </fieldset>
  )
}
