/**
 * One limit with its deadband, high or low side. A value equal to the limit is not in alarm; it clears only once it has come
 * back past the deadband. Between the two it neither raises nor clears.
 */
export type Side = 'high' | 'low'

/**
 * Share of a step that counts as binary rounding: 8.45 is a whole 0.01 from 8.44 though their difference is a hair less, and 5.2 no more than
 * 0.1 from 5.1 though it is a hair more.
 */
export const ROUNDING = 1e-9

/** violated: beyond the limit. inside: between limit and clear level. cleared: back past the deadband. */
export type Judgement = 'violated' | 'inside' | 'cleared'

export interface Limit {
  readonly side: Side
  readonly limit: number
  /** limit - deadband on the high side, limit + deadband on the low side; computed once, at load. */
  readonly clearAt: number
}

/** `limit` and `deadband` in the unit of the signal, finite, deadband >= 0. */
export function makeLimit(side: Side, limit: number, deadband: number): Limit {
  return { side, limit, clearAt: addDecimal(limit, side === 'high' ? -deadband : deadband) }
}

/** `value` is finite: a reading without a figure never gets here. */
export function judgeLimit(value: number, l: Limit): Judgement {
  if (l.side === 'high') return value > l.limit ? 'violated' : value <= l.clearAt ? 'cleared' : 'inside'
  return value < l.limit ? 'violated' : value >= l.clearAt ? 'cleared' : 'inside'
}

/** a + b as a person adds the printed figures: 0.3 + (-0.1) is 0.2 and not 0.19999999999999998. */
export function addDecimal(a: number, b: number): number {
  const places = Math.max(decimals(a), decimals(b))
  if (places === 0 || places > 15) return a + b
  const scale = 10 ** places
  return (Math.round(a * scale) + Math.round(b * scale)) / scale
}

/** Figures after the point of the shortest text of `v`. */
function decimals(v: number): number {
  const [mantissa = '', exponent = '0'] = String(Math.abs(v)).split('e')
  const point = mantissa.indexOf('.')
  return Math.max(0, (point < 0 ? 0 : mantissa.length - point - 1) - Number(exponent))
}
