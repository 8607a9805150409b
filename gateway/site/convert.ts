/**
 * Figures from one unit to another, by explicit pairs only: a pair that does not stand here is refused, never guessed. So mg/L
 * is not ppm (in air it depends on the gas) and NTU is not FNU (another method).
 *
 * sources  exact definitions: inch 25.4 mm, US gallon 231 cubic inches, pound-force 4.4482216152605 N, standard gravity 9.80665 m/s2,
 *          degree Fahrenheit 5/9 K from 459.67 (NIST SP 811, appendix B); codes: UCUM
 */
interface Linear {
  readonly factor: number
  /** Added after the factor, in the unit of the result. */
  readonly add: number
}

const by = (factor: number): Linear => ({ factor, add: 0 })
const GALLON_L = 3.785411784
const PSI_MBAR = 68.94757293168361

/** From UCUM code to UCUM code. */
const PAIRS: Readonly<Record<string, Readonly<Record<string, Linear>>>> = {
  '[degF]': { Cel: { factor: 5 / 9, add: (-32 * 5) / 9 } },
  K: { Cel: { factor: 1, add: -273.15 } },
  Pa: { mbar: by(0.01), bar: by(1e-5) },
  hPa: { mbar: by(1), bar: by(1e-3) },
  kPa: { mbar: by(10), bar: by(0.01) },
  MPa: { mbar: by(10_000), bar: by(10) },
  bar: { mbar: by(1000) },
  mbar: { bar: by(0.001) },
  '[psi]': { mbar: by(PSI_MBAR), bar: by(PSI_MBAR / 1000) },
  'm[H2O]': { mbar: by(98.0665), bar: by(0.0980665) },
  "[in_i'H2O]": { mbar: by(2.4908891) },
  'L/s': { 'L/min': by(60) },
  'L/h': { 'L/min': by(1 / 60) },
  'm3/h': { 'L/min': by(1000 / 60) },
  '[gal_us]/min': { 'L/min': by(GALLON_L) },
  m3: { L: by(1000) },
  L: { m3: by(0.001) },
  '[gal_us]': { L: by(GALLON_L), m3: by(GALLON_L / 1000) },
  'mS/cm': { 'uS/cm': by(1000) },
  'S/m': { 'uS/cm': by(10_000) },
  mA: { A: by(0.001) },
  A: { mA: by(1000) },
  mV: { V: by(0.001) },
  V: { mV: by(1000) },
  kV: { V: by(1000) },
  'ug/L': { 'mg/L': by(0.001) },
  'g/m3': { 'mg/L': by(1) },
  'g/L': { 'mg/L': by(1000) },
  '1': { '%': by(100) },
  '[ppb]': { '[ppm]': by(0.001) },
  mm: { m: by(0.001) },
  cm: { m: by(0.01) },
  '[ft_i]': { m: by(0.3048) },
  s: { h: by(1 / 3600), min: by(1 / 60), d: by(1 / 86_400) },
  min: { h: by(1 / 60), s: by(60), d: by(1 / 1440) },
  h: { s: by(3600), min: by(60), d: by(1 / 24) },
  d: { h: by(24), s: by(86_400), min: by(1440) },
  '[in_i]/h': { 'mm/h': by(25.4) },
}

/** `value` of unit `from` in unit `to`; null: no such pair. */
export function convert(value: number, from: string, to: string): number | null {
  if (from === to) return value
  const pair = pairOf(from, to)
  return pair ? value * pair.factor + pair.add : null
}

/** Whether there is a way from one to the other. */
export const convertible = (from: string, to: string): boolean => from === to || pairOf(from, to) !== undefined

/** Units that can be turned into `to`, besides itself. */
export const unitsInto = (to: string): readonly string[] => Object.keys(PAIRS).filter((from) => pairOf(from, to) !== undefined)

function pairOf(from: string, to: string): Linear | undefined {
  const of = Object.hasOwn(PAIRS, from) ? PAIRS[from] : undefined
  return of && Object.hasOwn(of, to) ? of[to] : undefined
}
