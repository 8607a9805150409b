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

export interface NOfMState {
  readonly active: boolean
  /** Newest last; true: violated. At most max(m, clearM) samples. */
  readonly recent: readonly boolean[]
}

export const N_OF_M_START: NOfMState = { active: false, recent: [] }

/** What is wrong with the figures, or null. */
export function nOfMFault(c: NOfM): string | null {
  const whole = [c.n, c.m, c.clearN, c.clearM].every((x) => Number.isInteger(x) && x >= 1)
  if (!whole) return `${c.n} of ${c.m}, clearing ${c.clearN} of ${c.clearM}: whole numbers of samples from 1 on`
  if (c.n > c.m || c.clearN > c.clearM) return `${c.n} of ${c.m}, clearing ${c.clearN} of ${c.clearM}: cannot ask for more samples than are looked at`
  return null
}

export function stepNOfM(s: NOfMState, violated: boolean, c: NOfM): NOfMState {
  const recent = [...s.recent, violated].slice(-Math.max(c.m, c.clearM))
  const count = (last: number, which: boolean): number => recent.slice(-last).filter((v) => v === which).length
  const active = s.active ? count(c.clearM, false) < c.clearN : count(c.m, true) >= c.n
  return { active, recent }
}
