/** Metric or US units, for this person on this browser. */
import { useSignal } from '@preact/signals'
import { keepUnits, unitSystem } from '../state/unit-choice.ts'

export function UnitChoice() {
  const refused = useSignal(false)
  const choose = (system: 'metric' | 'us'): void => {
    if (keepUnits(system)) location.reload()
    else refused.value = true
  }
  return (
    <label class="unitChoice">
      Units{' '}
      <select value={unitSystem} onChange={(e) => choose(e.currentTarget.value === 'us' ? 'us' : 'metric')}>
        <option value="metric">as measured (°C, L, bar)</option>
        <option value="us">US (°F, gal, psi)</option>
      </select>
      {refused.value && <span role="alert"> This browser keeps nothing for this page: the units stay as they are.</span>}
    </label>
  )
}
