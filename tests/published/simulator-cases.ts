/** The simulated plant: its own oxygen and carbonate arithmetic, analytic solutions in its own steps, its default dirt, its timings and its books. */
import { applyFaults, type Fault } from '../../simulator/faults/fault.ts'
import { balances } from '../../simulator/process/balance.ts'
import { buildPlant } from '../../simulator/process/build.ts'
import { carbonAt, carbonate, type Carbonate, hydrogen } from '../../simulator/process/chemistry.ts'
import { integrate } from '../../simulator/process/integrate.ts'
import { oxygenStep, saturation } from '../../simulator/process/oxygen.ts'
import { stepOzone } from '../../simulator/process/ozone.ts'
import { step } from '../../simulator/process/plant.ts'
import { referenceDirt } from '../../simulator/process/spec.ts'
import { bath, book, CACO3, OXIDANT, SURFACTANT_COD } from '../../simulator/process/species.ts'
import type { Plant } from '../../simulator/process/state.ts'
import type { Troubles } from '../../simulator/process/troubles.ts'
import { MONDAY, referenceSpec, runUntil, settledReference } from '../simulator/reference-loop.ts'
import { join, type Ours } from './table.ts'

const n = (s: string | undefined): number => Number(s)
const STEP_S = 10

function constants(celsius: number): Carbonate {
  const k = { k1: 0, k2: 0, kh: 0, kw: 0 }
  carbonate(k, celsius)
  return k
}

/** [pH, alkalinity, alum, sulfuric acid], mg/L; alkalinity as CaCO3. */
const DOSES: readonly (readonly [number, number, number, number])[] = [
  [7.5, 100, 30, 0],
  [6.7, 20, 30, 0],
  [7.5, 100, 50, 20],
  [8, 20, 50, 0],
]
function dosed(row: number): { readonly ph: number; readonly alkalinity: number } {
  const [ph, alk, alum, acid] = DOSES[row - 1] ?? [Number.NaN, 0, 0, 0]
  const k = constants(20)
  const mol = (mgPerL: number): number => mgPerL / 1000 / CACO3
  // As the panel's own pumps count: six charges per alum of 594.4 g, two per sulfuric acid of 98.08 g.
  const alkalinity = alk - ((6 * CACO3) / 594.4) * alum - ((2 * CACO3) / 98.08) * acid
  return { alkalinity, ph: -Math.log10(hydrogen(carbonAt(ph, mol(alk), k), mol(alkalinity), k, 1e-7)) }
}

function reaerated(): number {
  const out = { next: 2, share: 0 }
  for (let s = 0; s < 900; s += STEP_S) oxygenStep(out, out.next, 6, 9.09, 0, STEP_S / 3600)
  return out.next
}

function ozoneLeft(): number {
  const water = bath()
  water.litres = 1000
  water.m[OXIDANT] = 2
  const sums = book()
  for (let s = 0; s < 3600; s += STEP_S) stepOzone(water, 0, 20, 0, STEP_S / 3600, sums, 0.05)
  return water.m[OXIDANT] ?? Number.NaN
}

/** Head over the crest of the treatment unit, left after 40 s against before; nothing flows in. */
function headLeft(): number {
  const p = settledReference(3)
  const tu = p.water.bio[0]
  if (!tu) throw new Error('no treatment unit')
  const quiet = (t: Troubles): void => void (t.rush = 0)
  runUntil(p, p.nowMs + 3_600_000, quiet)
  // Evaporation takes it a little under its crest: the crest is where a poured bucket comes to rest.
  tu.water.litres += 20
  runUntil(p, p.nowMs + 1_800_000, quiet)
  const crest = tu.water.litres
  tu.water.litres = crest + 20
  runUntil(p, p.nowMs + 40_000, quiet)
  return (tu.water.litres - crest) / 20
}

function foodLeft(): number {
  const [muMax, kS, decay, yieldShare, ageD, foodIn] = [2.5, 100, 0.05, 0.5, 5, 300] as const
  const { y } = integrate(
    (_, [food = 0, cells = 0], out) => {
      const growth = ((muMax * food) / (kS + food)) * cells
      out[0] = (foodIn - food) / ageD - growth / yieldShare
      out[1] = growth - decay * cells - cells / ageD
    },
    [foodIn, 10],
    0,
    400,
  )
  return y[0] ?? Number.NaN
}

/** Hours without air until a tank is down to 1 mg/L; from an hour of the reference day. */
function hoursToOne(hour: number, tank: number, idle: boolean): number {
  const p = settledReference(hour)
  const from = p.nowMs
  const off = (t: Troubles): void => {
    t.tripped.add('blower')
    if (idle) t.rush = 0
  }
  while ((p.water.bio[tank]?.oxygen ?? 0) > 1 && p.nowMs - from < 40 * 3_600_000) runUntil(p, p.nowMs + 10_000, off)
  return (p.nowMs - from) / 3_600_000
}

let struck: Plant | null = null
function books(): ReturnType<typeof balances> {
  if (!struck) {
    const p = buildPlant({ ...referenceSpec({ carryOff: 0.2, mist: 0.05 }), biology: 'asm1' }, MONDAY)
    const kinds = ['storm', 'bleach', 'blower-trip', 'dose-stuck', 'leak', 'make-up-stuck', 'washout', 'degreaser'] as const
    const faults = kinds.map((kind, i): Fault => ({ id: kind, kind, site: 'reference-loop', onsetMs: MONDAY + i * 6 * 3_600_000, endMs: MONDAY + (i * 6 + 4) * 3_600_000 }))
    while (p.nowMs < MONDAY + 2 * 86_400_000) {
      applyFaults(faults, p)
      const hour = (p.nowMs / 3_600_000) % 24
      p.troubles.rush = hour >= 8 && hour < 15 ? 1 : 0
      step(p)
    }
    struck = p
  }
  return balances(struck)
}

const d = referenceDirt
const ours: Ours = [
  [/^SIM-(?:O2|EN)-(\d+)$/, (_, [t]) => saturation(n(t), 0, 1)],
  [/^SIM-CB-K1$/, () => -Math.log10(constants(25).k1)],
  [/^SIM-CB-K2$/, () => -Math.log10(constants(25).k2)],
  [/^SIM-CB-KH$/, () => -Math.log10(constants(25).kh)],
  [/^SIM-D(\d)p$/, (_, [row]) => dosed(n(row)).ph],
  [/^SIM-D(\d)a$/, (_, [row]) => dosed(n(row)).alkalinity],
  [/^SIM-RE$/, reaerated],
  [/^SIM-DECAY$/, ozoneLeft],
  [/^SIM-DRAIN$/, headLeft],
  [/^SIM-MONOD$/, foodLeft],
  [/^SIM-IN-COD$/, () => d.cod + d.inert + d.oil + SURFACTANT_COD * d.surfactant],
  [/^SIM-IN-OIL$/, () => d.oil / 2.9],
  [/^SIM-IN-TSS$/, () => d.solids],
  [/^SIM-T-TU-IDLE$/, () => 60 * hoursToOne(6, 0, true)],
  [/^SIM-T-TU-WASH$/, () => 60 * hoursToOne(14, 0, false)],
  [/^SIM-T-BIO1-IDLE$/, () => hoursToOne(6, 1, true)],
  [/^SIM-T-BIO2-IDLE$/, () => hoursToOne(6, 2, true)],
  [/^SIM-T-BIO1-WASH$/, () => hoursToOne(10, 1, false)],
  [
    /^SIM-BOOK-(\w+)$/,
    (_, [what]) => {
      const b = books()[what as keyof ReturnType<typeof balances>]
      return b.error / b.size
    },
  ],
]

export const simulatorCases = join('simulator-values.json', ours)
