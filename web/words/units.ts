/**
 * Units of the reader: metric, as the site files have them, or US. One table by display text; what does not stand in it is the same in both.
 * sources  US gallon 231 cubic inches, pound-force per square inch, foot, inch, degree Fahrenheit: NIST SP 811, appendix B; codes: UCUM
 */
export type UnitSystem = 'metric' | 'us'

export interface InUnit {
  /** UCUM code. */
  readonly unit: string
  readonly text: string
  readonly spoken: string
  readonly factor: number
  /** Added after the factor; left out of differences and slopes. */
  readonly add: number
  /** Digits after the point more than in the metric unit, so that no step is lost and none invented. */
  readonly digits: number
}

const GALLON_L = 3.785411784
const PSI_MBAR = 68.94757293168361
const GALLONS = { unit: '[gal_us]', text: 'gal', spoken: 'gallons', add: 0 }
const PSI = { unit: '[psi]', text: 'psi', spoken: 'pounds per square inch', add: 0 }

/** By display text of the metric unit. */
export const US_UNITS: Readonly<Record<string, InUnit>> = {
  '°C': { unit: '[degF]', text: '°F', spoken: 'degrees Fahrenheit', factor: 9 / 5, add: 32, digits: 0 },
  'L/min': { unit: '[gal_us]/min', text: 'gpm', spoken: 'gallons per minute', factor: 1 / GALLON_L, add: 0, digits: 1 },
  L: { ...GALLONS, factor: 1 / GALLON_L, digits: 0 },
  'm³': { ...GALLONS, factor: 1000 / GALLON_L, digits: -2 },
  mbar: { ...PSI, factor: 1 / PSI_MBAR, digits: 2 },
  bar: { ...PSI, factor: 1000 / PSI_MBAR, digits: -1 },
  m: { unit: '[ft_i]', text: 'ft', spoken: 'feet', factor: 1 / 0.3048, add: 0, digits: 0 },
  'mm/h': { unit: '[in_i]/h', text: 'in/h', spoken: 'inches per hour', factor: 1 / 25.4, add: 0, digits: 1 },
}

/** How a figure of this unit is shown to a reader of this system; null: as it is. */
export const unitIn = (system: UnitSystem, text: string): InUnit | null => (system === 'us' && Object.hasOwn(US_UNITS, text) ? (US_UNITS[text] ?? null) : null)

/** Without the last digits that only binary fractions make: 14.3 °C are 57.74 °F in a saved file. */
const tidy = (v: number): number => Number(v.toPrecision(12))

export const turned = (value: number, to: InUnit | null): number => (to === null ? value : tidy(value * to.factor + to.add))
/** A difference or a slope: without the offset between the zeros of the scales. */
export const turnedBy = (difference: number, to: InUnit | null): number => (to === null ? difference : tidy(difference * to.factor))
export const digitsIn = (digits: number, to: InUnit | null): number => (to === null ? digits : Math.max(0, digits + to.digits))
