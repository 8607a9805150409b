/** The form of a site file: what most people change. Each field hands on what was typed; the server says what is wrong with it. */
import { useSignal } from '@preact/signals'
import type { ComponentChildren } from 'preact'
import { useId } from 'preact/hooks'
import type { SiteFileBody } from '../../server/wire.ts'
import { delayText, numberOf } from '../words/fields.ts'
import { hoursOf, hoursText } from '../words/hours.ts'
import type { Fault } from './setup-editor.tsx'

export type FieldValue = string | number | boolean | readonly (string | number)[] | { readonly [key: string]: string | number | boolean }
type Path = readonly string[]

interface Props {
  readonly fields: NonNullable<SiteFileBody['fields']>
  readonly faults: readonly Fault[]
  readonly inForce: SiteFileBody['inForce']
  readonly set: (path: Path, value: FieldValue | null) => void
}

const tree = (v: unknown): Readonly<Record<string, unknown>> => (typeof v === 'object' && v !== null && !Array.isArray(v) ? { ...v } : {})
const said = (v: unknown): string => (v === null || v === undefined ? '' : typeof v === 'object' ? JSON.stringify(v) : String(v as string | number | boolean))
/** A figure where it is one; else what was typed, for the server to answer. */
const figureOf = (text: string): string | number | null => (text.trim() === '' ? null : (numberOf(text) ?? text.trim()))

export function SiteForm({ fields, faults, inForce, set }: Props) {
  const reach = tree(fields.reach)
  const line = (path: Path, words: string, value: unknown, more: Partial<LineProps> = {}) => (
    <Line key={path.join('.')} path={path} words={words} value={said(value)} faults={faults} set={set} {...more} />
  )
  const shown = [
    'name',
    'area',
    'customer',
    'zone',
    'position',
    'altitudeM',
    'open',
    'staffed',
    'yardPhone',
    'access',
    'reach',
    'dataPlanMb',
    'sampleEvery',
    'reportEvery',
    'signals',
    'protections',
    'consumables',
  ]
  const elsewhere = faults.filter((f) => !shown.includes(f.field.split('.')[0] ?? ''))
  return (
    <>
      {elsewhere.map((f, i) => (
        <p key={i} class="refused">
          Line {f.line}
          {f.field && `, ${f.field}`}: {f.message}. It stands in the text.
        </p>
      ))}
      <fieldset>
        <legend>Site</legend>
        {line(['name'], 'Name', fields.name)}
        <div class="pair">
          {line(['area'], 'Area', fields.area)}
          {line(['customer'], 'Customer', fields.customer)}
        </div>
        {line(['zone'], 'Time zone', fields.zone, { hint: 'such as Europe/Lisbon' })}
        <Figures path={['position']} words={['Latitude', 'Longitude']} value={fields.position} faults={faults} set={set} />
        {line(['altitudeM'], 'Height above the sea, m', fields.altitudeM, { figure: true })}
      </fieldset>
      <fieldset>
        <legend>Hours</legend>
        <Hours path={['open']} words="The yard washes" value={fields.open} faults={faults} set={set} />
        <Hours path={['staffed']} words="Somebody is at the yard" value={fields.staffed} faults={faults} set={set} />
      </fieldset>
      <fieldset>
        <legend>Getting help</legend>
        {line(['yardPhone'], 'Phone of the yard', fields.yardPhone)}
        {line(['access'], 'Getting in', fields.access, { area: true })}
        <div class="pair">
          {line(['reach', 'drive'], 'By road from whoever is on call', reach.drive, { hint: 'such as 45min; usual 1h' })}
          {line(['reach', 'yard'], 'Until the yard has acted on a call', reach.yard, { hint: 'usual 10min' })}
        </div>
        <Hours path={['reach', 'desk']} words="The desk is staffed" value={reach.desk} faults={faults} set={set} />
      </fieldset>
      <fieldset>
        <legend>Data</legend>
        <div class="pair">
          {line(['sampleEvery'], 'Sampled every', fields.sampleEvery, { hint: 'such as 10s' })}
          {line(['reportEvery'], 'Reported every', fields.reportEvery, { hint: 'such as 60s' })}
          {line(['dataPlanMb'], 'Data plan, MB a month', fields.dataPlanMb, { figure: true })}
        </div>
      </fieldset>
      <Group words="Signals" count={Object.keys(tree(fields.signals)).length} wrong={faultsAt(faults, ['signals']).length > 0}>
        {Object.entries(tree(fields.signals)).map(([id, s]) => (
          <SignalFields key={id} id={id} value={tree(s)} faults={faults} now={inForce[id]} set={set} />
        ))}
        <p class="mute">A signal is added, or taken out, in the text; one that arrives already is adopted on the intake page.</p>
      </Group>
      <Things of="protections" words="Local protections" value={tree(fields.protections)} faults={faults} set={set} />
      <Things of="consumables" words="Stocks" value={tree(fields.consumables)} faults={faults} set={set} />
    </>
  )
}

/** Closed until somebody wants it, or something in it is wrong. */
function Group({ words, count, wrong, children }: { words: string; count: number; wrong: boolean; children: ComponentChildren }) {
  const open = useSignal(false)
  const shown = open.value || wrong
  return (
    <fieldset aria-label={words}>
      <details class="group" open={shown} onToggle={(e) => (open.value = e.currentTarget.open)}>
        <summary>
          {words}, {count}
        </summary>
        {children}
      </details>
    </fieldset>
  )
}

const faultsAt = (faults: readonly Fault[], path: Path): readonly Fault[] => faults.filter((f) => f.field === path.join('.') || f.field.startsWith(`${path.join('.')}.`))

function Told({ id, faults }: { id: string; faults: readonly Fault[] }) {
  if (faults.length === 0) return null
  return (
    <span id={id} class="refused">
      {faults.map((f) => (
        <span key={f.message} class="block">
          {f.message} <span class="mute">(line {f.line})</span>
        </span>
      ))}
    </span>
  )
}

interface LineProps {
  readonly path: Path
  readonly words: string
  readonly value: string
  readonly faults: readonly Fault[]
  readonly set: Props['set']
  readonly hint?: string
  readonly figure?: boolean
  readonly area?: boolean
  readonly type?: 'date'
}

function Line({ path, words, value, faults, set, hint, figure = false, area = false, type }: LineProps) {
  const id = useId()
  const wrong = faultsAt(faults, path)
  const told = { 'aria-invalid': wrong.length > 0, ...(wrong.length > 0 && { 'aria-describedby': id }) }
  const take = (text: string): void => set(path, figure ? figureOf(text) : text.trim() === '' ? null : text.trim())
  return (
    <label class={wrong.length > 0 ? 'wrong' : ''}>
      {words}
      {area ? (
        <textarea rows={3} maxLength={300} defaultValue={value} onInput={(e) => take(e.currentTarget.value)} {...told} />
      ) : (
        <input
          {...(type && { type })}
          defaultValue={value}
          maxLength={300}
          autoComplete="off"
          {...(figure && { inputMode: 'decimal' as const })}
          onInput={(e) => take(e.currentTarget.value)}
          {...told}
        />
      )}
      <Told id={id} faults={wrong} />
      {hint && <small>{hint}</small>}
    </label>
  )
}

interface PartProps {
  readonly path: Path
  readonly value: unknown
  readonly faults: readonly Fault[]
  readonly set: Props['set']
}

/** Two figures that belong together: nothing in both takes the field out. */
function Figures({ path, words, value, faults, set, hints = ['', ''] }: PartProps & { readonly words: readonly [string, string]; readonly hints?: readonly [string, string] }) {
  const id = useId()
  const had: readonly unknown[] = Array.isArray(value) ? value : []
  const typed = useSignal<readonly [string, string]>([said(had[0]), said(had[1])])
  const wrong = faultsAt(faults, path)
  const take = (i: 0 | 1, text: string): void => {
    typed.value = i === 0 ? [text, typed.value[1]] : [typed.value[0], text]
    const both = typed.value.map(figureOf)
    set(path, both.every((x) => x === null) ? null : both.map((x) => x ?? ''))
  }
  return (
    <div class={wrong.length > 0 ? 'wrong' : ''}>
      <div class="pair">
        {([0, 1] as const).map((i) => (
          <label key={i}>
            {words[i]}
            <input
              defaultValue={typed.peek()[i]}
              placeholder={hints[i]}
              inputMode="decimal"
              autoComplete="off"
              aria-invalid={wrong.length > 0}
              {...(wrong.length > 0 && { 'aria-describedby': id })}
              onInput={(e) => take(i, e.currentTarget.value)}
            />
          </label>
        ))}
      </div>
      <Told id={id} faults={wrong} />
    </div>
  )
}

function Hours({ path, words, value, faults, set }: PartProps & { readonly words: string }) {
  const id = useId()
  const wrong = faultsAt(faults, path)
  const text = hoursText(value)
  return (
    <label class={wrong.length > 0 ? 'wrong' : ''}>
      {words}
      <textarea
        rows={Math.max(2, text.split('\n').length)}
        defaultValue={text}
        autoCapitalize="none"
        spellcheck={false}
        aria-invalid={wrong.length > 0}
        {...(wrong.length > 0 && { 'aria-describedby': id })}
        onInput={(e) => set(path, hoursOf(e.currentTarget.value))}
      />
      <Told id={id} faults={wrong} />
      <small>a line each: mon-fri 06:00-20:00; or always</small>
    </label>
  )
}

interface SignalProps {
  readonly id: string
  readonly value: Readonly<Record<string, unknown>>
  readonly faults: readonly Fault[]
  readonly now: SiteFileBody['inForce'][string] | undefined
  readonly set: Props['set']
}

/** Its fields are drawn when somebody opens it: a rich loop has fifty. */
function SignalFields({ id, value, faults, now, set }: SignalProps) {
  const open = useSignal(false)
  const wrong = faultsAt(faults, ['signals', id])
  const path = (field: string): Path => ['signals', id, field]
  const of = { faults, set }
  return (
    <details class="signal" open={open.value || wrong.length > 0} onToggle={(e) => (open.value = e.currentTarget.open)}>
      <summary>
        <span>{said(value.name) || now?.name || id}</span> <span class="mute break">{id}</span>
      </summary>
      {(open.value || wrong.length > 0) && (
        <div>
          <Line path={path('name')} words="Name" value={said(value.name)} {...of} {...(now && { hint: `in force: ${now.name}` })} />
          <Figures
            path={path('range')}
            words={['Lowest it can report', 'Highest it can report']}
            value={value.range}
            {...of}
            {...(now && { hints: [String(now.range[0]), String(now.range[1])] as const })}
          />
          <div class="pair">
            <Line path={path('sampleEvery')} words="Sampled every" value={said(value.sampleEvery)} {...of} {...(now && { hint: `in force: ${delayText(now.sampleEveryMs)}` })} />
            <Line path={path('reportEvery')} words="Reported every" value={said(value.reportEvery)} {...of} {...(now && { hint: `in force: ${delayText(now.reportEveryMs)}` })} />
          </div>
          <Told id="" faults={wrong.filter((f) => !['name', 'range', 'sampleEvery', 'reportEvery'].some((x) => f.field.startsWith(`signals.${id}.${x}`)))} />
        </div>
      )}
    </details>
  )
}

interface ThingsProps {
  readonly of: 'protections' | 'consumables'
  readonly words: string
  readonly value: Readonly<Record<string, unknown>>
  readonly faults: readonly Fault[]
  readonly set: Props['set']
}

const UNITS = ['L', 'm', 'kg', 'doses'] as const

/** Protections or stocks: each with its fields, one can go, one can come. */
function Things({ of, words, value, faults, set }: ThingsProps) {
  const gone = useSignal<ReadonlySet<string>>(new Set())
  const come = useSignal<readonly string[]>([])
  const id = useSignal('')
  const fault = useSignal('')
  const begin = of === 'protections' ? { what: 'what it does', present: true } : { name: 'name', full: 1, unit: 'L' }
  const all: readonly (readonly [string, Readonly<Record<string, unknown>>])[] = [
    ...Object.entries(value).map(([k, v]) => [k, tree(v)] as const),
    ...come.value.map((k) => [k, begin as Readonly<Record<string, unknown>>] as const),
  ]
  const add = (): void => {
    const name = id.value.trim()
    if (!/^[a-z0-9][a-z0-9_-]{0,62}$/.test(name)) return void (fault.value = 'An id is lower-case letters, digits, - and _, such as overflow-bund.')
    if (all.some(([k]) => k === name)) return void (fault.value = `There is one called ${name} already.`)
    fault.value = ''
    id.value = ''
    come.value = [...come.value, name]
    set([of, name], begin)
  }
  /** Enter adds here, and does not send the form. */
  const onEnter = (e: KeyboardEvent): void => {
    if (e.key !== 'Enter') return
    e.preventDefault()
    add()
  }
  const take = (k: string, out: boolean): void => {
    const next = new Set(gone.value)
    if (out) next.add(k)
    else next.delete(k)
    gone.value = next
    const was = all.find(([x]) => x === k)?.[1] ?? {}
    set([of, k], out ? null : (was as { readonly [key: string]: string }))
  }
  const wrongHere = faults.filter((f) => f.field === of)
  return (
    <Group words={words} count={all.length - gone.value.size} wrong={faultsAt(faults, [of]).length > 0}>
      <Told id="" faults={wrongHere} />
      {all.map(([k, v]) => (
        <div key={k} class="thing" role="group" aria-label={k}>
          <p class="mute">{k}</p>
          {!gone.value.has(k) && (
            <>
              {of === 'protections' ? (
                <>
                  <Line path={[of, k, 'what']} words="What it does" value={said(v.what)} faults={faults} set={set} />
                  <label class="tick">
                    <input type="checkbox" defaultChecked={v.present === true} onChange={(e) => set([of, k, 'present'], e.currentTarget.checked)} /> It is there
                  </label>
                  <Line path={[of, k, 'provedOn']} words="Last shown to work" type="date" value={said(v.provedOn)} faults={faults} set={set} />
                </>
              ) : (
                <>
                  <Line path={[of, k, 'name']} words="Name" value={said(v.name)} faults={faults} set={set} />
                  <div class="pair">
                    <Line path={[of, k, 'full']} words="Full" figure value={said(v.full)} faults={faults} set={set} />
                    <label>
                      Unit
                      <select onChange={(e) => set([of, k, 'unit'], e.currentTarget.value)}>
                        {UNITS.map((u) => (
                          <option key={u} value={u} selected={u === v.unit}>
                            {u}
                          </option>
                        ))}
                      </select>
                    </label>
                  </div>
                </>
              )}
            </>
          )}
          <button type="button" class="btn" onClick={() => take(k, !gone.value.has(k))}>
            {gone.value.has(k) ? 'Keep' : 'Take out'}
            <span class="vh"> {k}</span>
          </button>
        </div>
      ))}
      <div class="pair">
        <label>
          Another, by its id
          <input value={id.value} maxLength={63} autoCapitalize="none" autoComplete="off" onInput={(e) => (id.value = e.currentTarget.value)} onKeyDown={onEnter} />
        </label>
        <button type="button" class="btn" onClick={add}>
          Add<span class="vh"> to {words.toLowerCase()}</span>
        </button>
      </div>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
    </Group>
  )
}
