/**
 * The delay counted in samples: raise when `n` of the last `m` samples violate, clear when `clearN` of the last
 * `clearM` are normal. For signals that spike, and for data too coarse for a delay in seconds.
 */
export interface NOfM {
  readonly n: number
  readonly m: number
  readonly clearN: number
  readonly clearM: number
}

/** Samples as bits, the newest lowest. A sample inside the deadband is neither violated nor normal. */
export interface NOfMState {
  readonly active: boolean
  readonly violated: number
  readonly normal: number
}

/** As many samples as can be looked back on. */
const MOST = 30
const ALL = 2 ** MOST - 1

export const N_OF_M_START: NOfMState = { active: false, violated: 0, normal: 0 }

/** What is wrong with the figures, or null. */
export function nOfMFault(c: NOfM): string | null {
  const asked = `${c.n} of ${c.m}, clearing ${c.clearN} of ${c.clearM}`
  const whole = [c.n, c.m, c.clearN, c.clearM].every((x) => Number.isInteger(x) && x >= 1)
  if (!whole) return `${asked}: whole numbers of samples from 1 on`
  if (c.n > c.m || c.clearN > c.clearM) return `${asked}: cannot ask for more samples than are looked at`
  if (c.m > MOST || c.clearM > MOST) return `${asked}: at most ${MOST} samples are looked at; give a delay instead`
  return null
}

export function stepNOfM(s: NOfMState, sample: boolean | 'inside', c: NOfM): NOfMState {
  return settle(s.active, ((s.violated << 1) | (sample === true ? 1 : 0)) & ALL, ((s.normal << 1) | (sample === false ? 1 : 0)) & ALL, c)
}

/** Enough of the newest samples are normal. */
export const isNormal = (s: NOfMState, c: NOfM): boolean => ones(s.normal & (2 ** c.clearM - 1)) >= c.clearN

function settle(was: boolean, violated: number, normal: number, c: NOfM): NOfMState {
  const normally = ones(normal & (2 ** c.clearM - 1)) >= c.clearN
  return { active: was ? !normally : ones(violated & (2 ** c.m - 1)) >= c.n, violated, normal }
}

function ones(bits: number): number {
  let n = 0
  for (let b = bits; b !== 0; b &= b - 1) n++
  return n
}
