/**
 * What an unassigned signal may be, from its name and the figures seen. A guess is a help for the person who adopts it, never more:
 * nothing is stored under it. Names and spans are common practice, no source.
 */
import { QUANTITIES, quantityOfId, type Quantity } from './quantity.ts'

export interface SeenFigures {
  readonly min: number | null
  readonly max: number | null
  /** All whole numbers. */
  readonly whole: boolean
  /** Never fell from one to the next, and rose. */
  readonly rising: boolean
  readonly count: number
}

export interface Guess {
  readonly quantity: Quantity
  /** UCUM. */
  readonly unit: string
  /** What it rests on, a sentence. */
  readonly because: string
}

const NAMES: readonly (readonly [RegExp, Quantity])[] = [
  [/(^|[^a-z])(do|o2|oxy|oxygen|ldo)\d*($|[^a-z])/, 'do'],
  [/(^|[^a-z])ph\d*($|[^a-z])/, 'ph'],
  [/(orp|redox|rx)/, 'orp'],
  [/(temp|(^|[^a-z])t\d+$|degc|wtr_t)/, 'temperature'],
  [/(lvl|level|niveau)/, 'level'],
  [/(flow|lpm|gpm)/, 'flow'],
  [/(press|mbar|psi)/, 'pressure'],
  [/(cond|ec\d*$|us_?cm)/, 'conductivity'],
  [/(turb|ntu)/, 'turbidity'],
  [/(amp|current|curr|_a$)/, 'current'],
  [/(volt|vdc|vac|batt)/, 'voltage'],
  [/(rssi|dbm|csq|signal_?str)/, 'strength'],
  [/(hour|hrs|runtime)/, 'hours'],
  [/(start|cycles)/, 'starts'],
  [/(pulse|puls|imp)/, 'pulses'],
  [/(float|switch|wet)/, 'float'],
  [/(trip|fault|alarm)/, 'trip'],
  [/(run|on$|motor)/, 'run'],
]

/** null: nothing speaks for anything. */
export function guessOf(signal: string, seen: SeenFigures): Guess | null {
  const name = signal.toLowerCase()
  const last = name.slice(name.lastIndexOf('.') + 1)
  const byId = quantityOfId(name)
  const byName = byId ?? NAMES.find(([shape]) => shape.test(last))?.[1] ?? NAMES.find(([shape]) => shape.test(name))?.[1]
  if (byName && fits(byName, seen)) return guess(byName, byId ? `its id ends in "${last}"` : `"${last}" in its name, and its figures fit`)
  if (seen.count < 3 || seen.min === null || seen.max === null) return null
  if (seen.whole && seen.min >= 0 && seen.max <= 1) return guess('run', 'it is only ever 0 or 1')
  if (seen.rising && seen.whole) return guess('pulses', 'whole figures that only rise')
  if (seen.rising && seen.min >= 0) return guess('hours', 'figures that only rise')
  return null
}

const guess = (quantity: Quantity, because: string): Guess => ({ quantity, unit: QUANTITIES[quantity].unit, because })

function fits(q: Quantity, seen: SeenFigures): boolean {
  const [low, high] = QUANTITIES[q].range
  return (seen.min === null || seen.min >= low) && (seen.max === null || seen.max <= high)
}
