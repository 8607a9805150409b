/**
 * Two numbers for what is normal, kept apart: the commissioning value, frozen on the acceptance sheet, and the rolling baseline that
 * follows the seasons. The second never overwrites the first, so a baseline that crept away with a slow decline is seen to have
 * crept.
 * source  common practice, no source
 */
import { positive } from '../process/range.ts'
import type { Band } from './baseline.ts'

/** Never changed; a replaced part gets a new one and the old one stays on record. */
export interface CommissioningValue {
  readonly value: number
  /** How far a repeat on the same day would differ, unit of the signal, above zero. */
  readonly sd: number
  readonly atMs: number
}

export interface AgainstBoth {
  /** Unit of the signal; null: no such value yet. */
  readonly offCommissioning: number | null
  readonly offRolling: number | null
  readonly band: 'below' | 'inside' | 'above' | 'no band'
  /** The baseline itself has left the commissioning value by more than three of its deviations; null: not known. */
  readonly crept: boolean | null
}

/** throws RangeError when the value is no figure or the deviation is not above zero */
export function againstBoth(value: number, commissioning: CommissioningValue | null, rolling: Band | null): AgainstBoth {
  if (!Number.isFinite(value)) throw new RangeError(`the value is ${value}: leave missing readings out`)
  if (commissioning) positive('deviation of the commissioning value', commissioning.sd, 'of the signal')
  return {
    offCommissioning: commissioning ? value - commissioning.value : null,
    offRolling: rolling ? value - rolling.middle : null,
    band: rolling ? (value < rolling.low ? 'below' : value > rolling.high ? 'above' : 'inside') : 'no band',
    crept: rolling && commissioning ? Math.abs(rolling.middle - commissioning.value) > 3 * commissioning.sd : null,
  }
}

/** The sheet with a value added. Freezes: throws RangeError when the signal has one since the last replacement. */
export function freeze(
  sheet: ReadonlyMap<string, readonly CommissioningValue[]>,
  signal: string,
  v: CommissioningValue,
  replacedMs: number | null,
): Map<string, readonly CommissioningValue[]> {
  const before = sheet.get(signal) ?? []
  const last = before.at(-1)
  if (last && (replacedMs === null || last.atMs >= replacedMs))
    throw new RangeError(`${signal} has its commissioning value ${last.value} already: record the replacement of the part first, or leave it`)
  return new Map(sheet).set(signal, [...before, v])
}
