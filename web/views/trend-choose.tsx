/** Which signals are shown: those of the loop, its computed ones, and any of any other loop. */
import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { getLoop } from '../link/api.ts'
import { found } from '../state/fleet.ts'
import { allLoops } from '../state/store.ts'
import { idIn } from '../state/trend-view.ts'
import { withVitals } from '../state/vital.ts'

interface Props {
  readonly loop: LoopDetailBody
  readonly shownIds: readonly string[]
  readonly onChange: (ids: readonly string[]) => void
}

export function SignalChooser({ loop, shownIds, onChange }: Props) {
  const from = useSignal(loop.id)
  const other = useSignal<LoopDetailBody | null>(null)
  const fault = useSignal('')
  const word = useSignal('')
  const site = from.value
  useEffect(() => {
    other.value = null
    fault.value = ''
    if (site === loop.id) return
    let over = false
    void getLoop(site).then((r) => {
      if (over) return
      if (r.ok) other.value = withVitals(r.body)
      else fault.value = r.message
    })
    return () => {
      over = true
    }
  }, [site, loop.id])
  const of = site === loop.id ? loop : other.value
  const words = word.value.toLocaleLowerCase().split(/\s+/).filter(Boolean)
  const fits = (s: SignalBody): boolean => words.every((w) => `${s.name} ${s.id} ${s.unitText}`.toLocaleLowerCase().includes(w))
  const signals = (of?.signals ?? []).filter(fits)
  const groups = [
    ['Measured', signals.filter((s) => s.quantity !== 'computed')],
    ['Vitals, computed', signals.filter((s) => s.quantity === 'computed')],
  ] as const
  return (
    <details class="chooser">
      <summary class="btn">Signals ({shownIds.length})</summary>
      <div class="panel">
        <LoopChoice label="Of which loop" chosen={site} onChoose={(id) => (from.value = id)} home={loop.id} />
        <label class="line">
          Find
          <input type="search" value={word.value} placeholder="oxygen, pH, washer" onInput={(e) => (word.value = e.currentTarget.value)} />
        </label>
        {fault.value && <p class="refused">{fault.value}</p>}
        {groups.map(
          ([title, all]) =>
            all.length > 0 && (
              <fieldset key={title}>
                <legend>{title}</legend>
                {all.map((s) => {
                  const id = idIn(loop.id, site, s.id)
                  return (
                    <label key={id}>
                      <input
                        type="checkbox"
                        checked={shownIds.includes(id)}
                        onChange={(e) => onChange(e.currentTarget.checked ? [...shownIds, id] : shownIds.filter((x) => x !== id))}
                      />
                      {s.name} <span class="mute">{s.unitText}</span>
                    </label>
                  )
                })}
              </fieldset>
            ),
        )}
        {of && signals.length === 0 && <p class="mute">No signal of this loop is called so.</p>}
      </div>
    </details>
  )
}

const MOST_LOOPS = 60

/** A loop out of the fleet: found by name, then chosen. */
export function LoopChoice({ label, chosen, home, onChoose }: { label: string; chosen: string; home: string; onChoose: (id: string) => void }) {
  const text = useSignal('')
  const all = found(allLoops.value, text.value)
  const first = all.slice(0, MOST_LOOPS)
  const listed = first.some((l) => l.id === chosen) ? first : [...allLoops.value.filter((l) => l.id === chosen), ...first]
  return (
    <>
      <label class="line">
        {label}
        <select value={chosen} onChange={(e) => onChoose(e.currentTarget.value)}>
          {chosen === '' && <option value="">choose a loop</option>}
          {listed.map((l) => (
            <option key={l.id} value={l.id} selected={l.id === chosen}>
              {l.name}
              {l.id === home ? ' (this page)' : ''}
            </option>
          ))}
        </select>
      </label>
      {allLoops.value.length > MOST_LOOPS && (
        <label class="line">
          Loop called
          <input type="search" value={text.value} onInput={(e) => (text.value = e.currentTarget.value)} />
        </label>
      )}
    </>
  )
}
