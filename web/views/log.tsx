/** The site log of one loop, to be filled in on a phone beside the panel. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { EntryBody } from '../../server/wire.ts'
import { addEntry, getLog } from '../link/api.ts'
import { to } from '../router.ts'
import { loopSignal, newEntry, now } from '../state/store.ts'
import { moment } from '../words/times.ts'
import { ENTRY_WORDS } from '../words/words.ts'
import { entryText } from './loop.tsx'

/** Which fields each kind asks for, and examples of what is written there. */
const FORM: Readonly<Record<string, { item?: readonly string[]; value?: string; unit?: string; asFound?: boolean; text: string }>> = {
  kit: { item: ['alkalinity', 'ammonium', 'phosphate', 'COD', 'hardness', 'oil', 'pH', 'oxygen'], value: 'Value', unit: 'mg/L', text: 'Method, sample point' },
  calibration: { item: ['pH', 'oxygen', 'redox', 'level', 'conductivity'], value: 'As left', asFound: true, text: 'Buffers, probe or cap number' },
  refill: { item: ['acid', 'nutrient', 'microbes', 'bicarbonate', 'alum'], value: 'Now in the drum', unit: 'L', text: 'Delivery, batch' },
  replacement: { item: ['paper roll', 'controller', 'probe', 'pump', 'meter', 'blower'], text: 'Which one, number' },
  blowdown: { item: ['sludge', 'water', 'spent paper'], value: 'Amount', unit: 'L', text: 'Where it went, document number' },
  observation: { item: ['no foam', 'white foam', 'brown foam', 'smell', 'cloudy water', 'oil sheen', 'dark water'], text: 'What was seen' },
  'unusual-wash': { item: ['degreaser', 'bleach', 'oil', 'paint', 'concrete', 'heavy soil'], text: 'What and how much' },
  'visit-in': { text: 'Why' },
  'visit-out': { text: 'What was done' },
  'interlock-proved': { text: 'Which one, how it was shown' },
  complaint: { item: ['smell', 'noise', 'foam', 'water quality'], text: 'Who, wind if known' },
  note: { text: 'Note' },
}

export function LogPage({ site }: { site: string }) {
  const loop = loopSignal(site)?.value ?? null
  const entries = useSignal<readonly EntryBody[] | null>(null)
  const kind = useSignal('observation')
  const state = useSignal<{ kind: 'ready' | 'sending' | 'done' | 'failed'; message: string }>({ kind: 'ready', message: '' })
  const fresh = newEntry.value
  const zone = loop?.zone ?? 'UTC'
  useEffect(() => {
    void getLog(site, 0, now.peek() + 86_400_000).then((r) => r.ok && (entries.value = r.body.entries))
  }, [site, fresh])
  document.title = `Site log: ${loop?.name ?? site} · Loopkeeper`
  const form = FORM[kind.value] ?? { text: 'Note' }
  const submit = async (e: SubmitEvent): Promise<void> => {
    e.preventDefault()
    const target = e.currentTarget as HTMLFormElement
    const f = new FormData(target)
    const text = (name: string): string => {
      const given = f.get(name)
      return typeof given === 'string' ? given.trim() : ''
    }
    const number = (name: string): number | undefined => (text(name) === '' ? undefined : Number(text(name).replace(',', '.')))
    const value = number('value')
    const asFound = number('asFound')
    if (Number.isNaN(value) || Number.isNaN(asFound)) {
      state.value = { kind: 'failed', message: `“${text('value')}” is no number: write it with a point, such as 7.2.` }
      return
    }
    const minutesAgo = Number(text('ago'))
    state.value = { kind: 'sending', message: '' }
    const r = await addEntry({
      site,
      kind: kind.value,
      atMs: Math.round(now.peek() - minutesAgo * 60_000),
      ...(text('item') && { item: text('item') }),
      ...(value !== undefined && { value }),
      ...(asFound !== undefined && { asFound }),
      ...(value !== undefined && text('unit') && { unit: text('unit') }),
      ...(f.get('below') && { below: true }),
      ...(text('text') && { text: text('text') }),
    })
    if (r.ok) {
      target.reset()
      state.value = { kind: 'done', message: 'Written.' }
    } else state.value = { kind: 'failed', message: r.message }
  }
  return (
    <main id="main" class="plain">
      <div class="name">
        <h1>
          <small>
            <a href={to.loop(site)}>{loop?.name ?? site}</a>
          </small>
          Site log
        </h1>
      </div>
      <form class="form" onSubmit={(e) => void submit(e)}>
        <label>
          What kind
          <select name="kind" value={kind.value} onChange={(e) => (kind.value = e.currentTarget.value)}>
            {Object.entries(ENTRY_WORDS).map(([id, word]) => (
              <option key={id} value={id}>
                {word}
              </option>
            ))}
          </select>
        </label>
        {form.item && (
          <label>
            Of what
            <input name="item" list={`items-${kind.value}`} maxLength={80} autoComplete="off" />
            <datalist id={`items-${kind.value}`}>
              {form.item.map((i) => (
                <option key={i} value={i} />
              ))}
            </datalist>
          </label>
        )}
        {form.asFound && (
          <label>
            As found
            <input name="asFound" inputMode="decimal" autoComplete="off" />
          </label>
        )}
        {form.value && (
          <div class="pair">
            <label>
              {form.value}
              <input name="value" inputMode="decimal" autoComplete="off" />
            </label>
            <label>
              Unit
              <input name="unit" defaultValue={form.unit ?? ''} maxLength={20} />
            </label>
          </div>
        )}
        {kind.value === 'kit' && (
          <label class="tick">
            <input type="checkbox" name="below" /> less than this (under the detection limit)
          </label>
        )}
        <label>
          {form.text}
          <textarea name="text" rows={2} maxLength={500} />
        </label>
        <label>
          When
          <select name="ago">
            <option value="0">just now</option>
            <option value="15">15 minutes ago</option>
            <option value="60">an hour ago</option>
            <option value="240">4 hours ago</option>
            <option value="1440">yesterday at this time</option>
          </select>
        </label>
        <button type="submit" class="btn main" aria-disabled={state.value.kind === 'sending'}>
          Write it down
        </button>
        <p role="status" class={state.value.kind === 'failed' ? 'refused' : ''}>
          {state.value.message}
        </p>
      </form>
      <h2 class="sec second">Written so far</h2>
      <ul class="entries">
        {(entries.value ?? []).map((e) => (
          <li key={e.id}>
            <span class="mute">{moment(e.atMs, zone, now.value)}</span> <b>{ENTRY_WORDS[e.kind] ?? e.kind}</b> {entryText(e)} <span class="mute">{e.by}</span>
          </li>
        ))}
        {entries.value?.length === 0 && <li class="mute">Nothing yet. What people see and smell is often what settles a case.</li>}
      </ul>
    </main>
  )
}
