/** Figures as people read them: group with a narrow no-break space from four figures up, true minus, unit after a no-break space. */
const NARROW = '\u202f'
const NBSP = '\u00a0'

/** `value` with `digits` after the point. */
export function figure(value: number, digits: number): string {
  const text = Math.abs(value).toFixed(Math.max(0, Math.min(6, digits)))
  const [whole = '', part] = text.split('.')
  const grouped = whole.length > 3 ? whole.replace(/\B(?=(\d{3})+$)/g, NARROW) : whole
  const sign = value < 0 && Number(text) !== 0 ? '\u2212' : ''
  return sign + grouped + (part ? `.${part}` : '')
}

/** Figure and unit; redox potential carries its sign. */
export function measured(value: number, digits: number, unit: string): string {
  const sign = unit === 'mV' && value > 0 ? '+' : ''
  return sign + figure(value, digits) + (unit ? NBSP + unit : '')
}
