/**
 * Full-load current by rated power and voltage, A, as an electrical code tabulates it for wiring (never for alarms).
 * source  NEC Tables 430.250 (three-phase) and 430.248 (single-phase), two agreeing public transcriptions; the 100 hp row and the
 *         locked-rotor currents from a public transcription of Table 430.251(B), the 15 hp locked-rotor current from memory
 */
const THREE_PHASE_VOLTS = [208, 230, 460, 575] as const
const SINGLE_PHASE_VOLTS = [115, 208, 230] as const

const THREE_PHASE: readonly (readonly [number, ...(number | null)[]])[] = [
  [0.5, 2.4, 2.2, 1.1, 0.9],
  [0.75, 3.5, 3.2, 1.6, 1.3],
  [1, 4.6, 4.2, 2.1, 1.7],
  [1.5, 6.6, 6, 3, 2.4],
  [2, 7.5, 6.8, 3.4, 2.7],
  [3, 10.6, 9.6, 4.8, 3.9],
  [5, 16.7, 15.2, 7.6, 6.1],
  [7.5, 24.2, 22, 11, 9],
  [10, 30.8, 28, 14, 11],
  [15, 46.2, 42, 21, 17],
  [20, 59.4, 54, 27, 22],
  [25, 74.8, 68, 34, 27],
  [100, null, null, 124, null],
]

const SINGLE_PHASE: readonly (readonly [number, ...number[]])[] = [
  [0.25, 5.8, 3.2, 2.9],
  [1 / 3, 7.2, 4, 3.6],
  [0.5, 9.8, 5.4, 4.9],
  [0.75, 13.8, 7.6, 6.9],
  [1, 16, 8.8, 8],
  [1.5, 20, 11, 10],
  [2, 24, 13.2, 12],
  [3, 34, 18.7, 17],
]

/** At 460 V, three-phase, A. */
const LOCKED_ROTOR_460: readonly (readonly [number, number])[] = [
  [10, 81],
  [15, 116],
  [100, 725],
]

/** A; null when the table has no such row or column. */
export function fullLoadA(phases: 1 | 3, horsepower: number, volts: number): number | null {
  const column = (phases === 3 ? THREE_PHASE_VOLTS : SINGLE_PHASE_VOLTS).findIndex((v) => v === volts)
  const row = (phases === 3 ? THREE_PHASE : SINGLE_PHASE).find(([hp]) => Math.abs(hp - horsepower) < 0.005)
  return column < 0 ? null : (row?.[column + 1] ?? null)
}

/** Locked-rotor current over full-load current at 460 V: what a jammed motor or a lost phase draws at once; null when not tabulated. */
export function lockedRotorRatio(horsepower: number): number | null {
  const locked = LOCKED_ROTOR_460.find(([hp]) => hp === horsepower)?.[1]
  const full = fullLoadA(3, horsepower, 460)
  return locked === undefined || full === null ? null : locked / full
}
