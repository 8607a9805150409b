/**
 * Two ways a figure can be missing, kept apart everywhere in this folder.
 *
 * A wrong *argument* (a temperature of 300 degrees, a tank without a diameter) is the caller's mistake: RangeError, with the
 * value and the valid range. A *measurement* that does not carry the answer (six samples, a flat probe, no plateau) is normal
 * life: the function gives a `NotObservable` with the reason, and the page says so.
 */
export interface NotObservable {
  readonly kind: 'not-observable'
  /** Ends the sentence "cannot be told here, because ...". */
  readonly because: string
}

export const notObservable = (because: string): NotObservable => ({ kind: 'not-observable', because })

/** A quantity known with an interval; `low <= best <= high`, all in the unit the name of the field says. */
export interface Estimate {
  readonly low: number
  readonly best: number
  readonly high: number
}

/**
 * Gives `value` back when low <= value <= high.
 * throws RangeError naming `what`, the value, the range and the unit; NaN and infinities are outside every range
 */
export function within(what: string, value: number, low: number, high: number, unit: string): number {
  if (value >= low && value <= high && Number.isFinite(value)) return value
  const u = unit === '' ? '' : ` ${unit}`
  throw new RangeError(`${what} is ${value}${u}: it must lie between ${low} and ${high}${u}`)
}

/** Gives `value` back when it is finite and above zero (`orZero`: not below zero); throws RangeError otherwise. */
export function positive(what: string, value: number, unit: string, orZero = false): number {
  if (Number.isFinite(value) && (orZero ? value >= 0 : value > 0)) return value
  throw new RangeError(`${what} is ${value} ${unit}: it must be a finite number ${orZero ? 'of zero or more' : 'above zero'}`)
}
