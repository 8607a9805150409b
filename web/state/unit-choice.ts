/** Which units this person reads; kept in the browser, for this browser only. */
import { measured } from '../words/numbers.ts'
import { digitsIn, turned, unitIn, type UnitSystem } from '../words/units.ts'

const KEY = 'loopkeeper-units'

/** Storage may be closed to a page: the site's own units then. */
function kept(): UnitSystem {
  try {
    return globalThis.localStorage?.getItem(KEY) === 'us' ? 'us' : 'metric'
  } catch {
    return 'metric'
  }
}

export const unitSystem: UnitSystem = kept()

/** A fact of the site file, whose metric unit is known by its name. */
export function inReadersUnit(value: number, digits: number, unitText: string): string {
  const to = unitIn(unitSystem, unitText)
  return measured(turned(value, to), digitsIn(digits, to), to?.text ?? unitText)
}

/** False: it cannot be kept here. The page is to be loaded anew afterwards, so that no figure of the former unit stays. */
export function keepUnits(system: UnitSystem): boolean {
  try {
    localStorage.setItem(KEY, system)
    return true
  } catch {
    return false
  }
}
