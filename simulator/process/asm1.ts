/**
 * Activated Sludge Model No. 1: thirteen states, eight processes, as a table of what each process makes and takes.
 *
 * The table (Petersen matrix) is data, so that its books can be checked: every process keeps COD, nitrogen and charge. Oxygen counts
 * as negative COD; nitrogen gas is not a state and stands in the table only for the books.
 * What it cannot do: crash. Air loss adds no death and a pH switch would only pause growth. Whoever simulates a shock hands in
 * `growth` below 1 and `killHPerD`, `killAPerD` above 0 (inactivation.ts); killed cells go the way of decayed ones.
 * source  Henze et al. 1987/2000 (IAWQ task group); units g/m3 (= mg/L), alkalinity mol/m3, time d
 */
import type { Asm1Parameters } from './asm1-parameters.ts'

export const STATES = ['SI', 'SS', 'XI', 'XS', 'XBH', 'XBA', 'XP', 'SO', 'SNO', 'SNH', 'SND', 'XND', 'SALK'] as const
export type State = (typeof STATES)[number]
export const AT = Object.fromEntries(STATES.map((name, i) => [name, i])) as Readonly<Record<State, number>>

export const PROCESSES = [
  'aerobic growth of heterotrophs',
  'anoxic growth of heterotrophs',
  'aerobic growth of nitrifiers',
  'decay of heterotrophs',
  'decay of nitrifiers',
  'ammonification',
  'hydrolysis of organics',
  'hydrolysis of organic nitrogen',
] as const

/** One line of the table: made (above zero) or taken per unit of the process. N2 is for the books only. */
export type Stoichiometry = Readonly<Partial<Record<State | 'N2', number>>>

/** COD of nitrate against ammonia, and what denitrification is worth, g/g N: the model's own rounding of 64/14 and 40/14. */
const NITRATE_COD = 4.57
const DENITRIFIED_COD = 2.86

export function petersen(p: Asm1Parameters): readonly Stoichiometry[] {
  const { yH, yA, fP, iXB, iXP } = p
  const denitrified = (1 - yH) / (DENITRIFIED_COD * yH)
  const debris = { XS: 1 - fP, XP: fP, XND: iXB - fP * iXP }
  return [
    { SS: -1 / yH, XBH: 1, SO: -(1 - yH) / yH, SNH: -iXB, SALK: -iXB / 14 },
    { SS: -1 / yH, XBH: 1, SNO: -denitrified, N2: denitrified, SNH: -iXB, SALK: (denitrified - iXB) / 14 },
    { XBA: 1, SO: -(NITRATE_COD - yA) / yA, SNO: 1 / yA, SNH: -iXB - 1 / yA, SALK: -iXB / 14 - 1 / (7 * yA) },
    { XBH: -1, ...debris },
    { XBA: -1, ...debris },
    { SND: -1, SNH: 1, SALK: 1 / 14 },
    { XS: -1, SS: 1 },
    { XND: -1, SND: 1 },
  ]
}

/** What a gram (mol, for alkalinity) of each component holds, by the three books. */
export function contents(p: Asm1Parameters): Readonly<Record<'COD' | 'nitrogen' | 'charge', Stoichiometry>> {
  return {
    COD: { SI: 1, SS: 1, XI: 1, XS: 1, XBH: 1, XBA: 1, XP: 1, SO: -1, SNO: -NITRATE_COD, N2: DENITRIFIED_COD - NITRATE_COD },
    nitrogen: { XBH: p.iXB, XBA: p.iXB, XP: p.iXP, SNO: 1, SNH: 1, SND: 1, XND: 1, N2: 1 },
    charge: { SNO: -1 / 14, SNH: 1 / 14, SALK: -1 },
  }
}

/** What each process makes out of nothing, per book: all zero when the table is right. */
export function imbalance(table: readonly Stoichiometry[], p: Asm1Parameters): readonly { readonly process: string; readonly book: string; readonly off: number }[] {
  return Object.entries(contents(p)).flatMap(([book, content]) =>
    table.map((line, i) => ({
      process: PROCESSES[i] ?? String(i),
      book,
      off: Object.entries(line).reduce((sum, [name, n]) => sum + n * (content[name as State] ?? 0), 0),
    })),
  )
}

export interface Circumstances {
  /** Share of growth that pH and inhibitors leave, 0-1. */
  readonly growth?: number
  /** Extra death, per d. */
  readonly killHPerD?: number
  readonly killAPerD?: number
}

/** Rates of the eight processes, g/(m3 d). States just below zero (rounding of the integration) count as zero. */
export function rates(y: ArrayLike<number>, p: Asm1Parameters, c: Circumstances = {}): number[] {
  const g = (name: State): number => Math.max(1e-12, y[AT[name]] ?? 0)
  const oxygen = g('SO') / (p.kOH + g('SO'))
  const anoxic = ((p.kOH / (p.kOH + g('SO'))) * g('SNO')) / (p.kNO + g('SNO'))
  const growth = c.growth ?? 1
  const fed = (growth * p.muH * g('SS') * g('XBH')) / (p.kS + g('SS'))
  const perBiomass = g('XS') / g('XBH')
  const hydrolysis = ((p.kH * perBiomass) / (p.kX + perBiomass)) * (oxygen + p.etaH * anoxic) * g('XBH')
  return [
    fed * oxygen,
    fed * anoxic * p.etaG,
    (growth * p.muA * g('SNH') * g('SO') * g('XBA')) / ((p.kNH + g('SNH')) * (p.kOA + g('SO'))),
    (p.bH + (c.killHPerD ?? 0)) * g('XBH'),
    (p.bA + (c.killAPerD ?? 0)) * g('XBA'),
    p.kA * g('SND') * g('XBH'),
    hydrolysis,
    (hydrolysis * g('XND')) / g('XS'),
  ]
}

/** The table as a grid of processes by states, for the inner loop. */
export const grid = (table: readonly Stoichiometry[]): readonly Float64Array[] => table.map((line) => Float64Array.from(STATES, (name) => line[name] ?? 0))

export interface Tank {
  readonly volumeM3: number
  readonly flowM3PerD: number
  /** What flows in, by state. */
  readonly influent: ArrayLike<number>
  readonly kLaPerD: number
  readonly saturation: number
}

/** Change per d of one mixed, aerated tank: flow, reactions, oxygen transfer. */
export function tankDerivative(
  tank: Tank,
  p: Asm1Parameters,
  table: readonly Stoichiometry[] = petersen(p),
  c: Circumstances = {},
): (t: number, y: Float64Array, out: Float64Array) => void {
  const made = grid(table)
  const exchange = tank.flowM3PerD / tank.volumeM3
  return (_, y, out) => {
    const r = rates(y, p, c)
    for (let i = 0; i < STATES.length; i += 1) {
      let sum = exchange * ((tank.influent[i] ?? 0) - (y[i] ?? 0))
      for (let j = 0; j < made.length; j += 1) sum += (made[j]?.[i] ?? 0) * (r[j] ?? 0)
      out[i] = sum
    }
    out[AT.SO] = (out[AT.SO] ?? 0) + tank.kLaPerD * (tank.saturation - (y[AT.SO] ?? 0))
  }
}

/** Oxygen the biology takes up, g/(m3 d). */
export function oxygenUptake(y: ArrayLike<number>, p: Asm1Parameters, c: Circumstances = {}): number {
  const r = rates(y, p, c)
  return -petersen(p).reduce((sum, line, j) => sum + (line.SO ?? 0) * (r[j] ?? 0), 0)
}

/** Suspended solids, g/m3: three quarters of the particulate COD. */
export const suspendedSolids = (y: ArrayLike<number>): number => 0.75 * (['XI', 'XS', 'XBH', 'XBA', 'XP'] as const).reduce((sum, name) => sum + (y[AT[name]] ?? 0), 0)
