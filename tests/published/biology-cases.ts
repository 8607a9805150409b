/** The simulator's biology: hand formulas, temperature factors, one aerated tank against a reference integration, and the benchmark plant at rest. */
import { ASM1_10_CEL, ASM1_20_CEL, BSM1, benchmarkSaturation, theta, type Warmed } from '../../simulator/process/asm1-parameters.ts'
import { AT, petersen, type State, STATES, type Stoichiometry, suspendedSolids, tankDerivative } from '../../simulator/process/asm1.ts'
import { ageForFood, daysToGrow, dwellForBiomass, foodAtRest, foodToBiomass, leastFood } from '../../simulator/process/chemostat.ts'
import { integrate } from '../../simulator/process/integrate.ts'
import { join, type Ours, readValues } from './table.ts'

/** The reference tank: 1333 m3, 18446 m3/d, KLa 240 per d, saturation 8 g/m3, all states 1 at the start, 50 d. */
const TANK = { volumeM3: 1333, flowM3PerD: 18_446, influent: [30, 69.5, 51.2, 202.32, 28.17, 0, 0, 0, 0, 31.56, 6.95, 10.59, 7], kLaPerD: 240, saturation: benchmarkSaturation(15) }

/** State of the reference tank after 50 d, with another table of stoichiometry if one is handed in. */
export function referenceTank(table: readonly Stoichiometry[] = petersen(BSM1)): Float64Array {
  return integrate(tankDerivative(TANK, BSM1, table), new Float64Array(13).fill(1), 0, 50, { relative: 1e-9, absolute: 1e-10 }).y
}

/**
 * The benchmark plant at rest: five tanks in a row, 92230 m3/d through each. A reactor is right when the published outflow of the one
 * before it comes to rest at the published values. All eight processes run here: the second tank has no air, the others nitrify.
 */
const BENCHMARK: Readonly<Record<string, { readonly volumeM3: number; readonly kLaPerD: number }>> = {
  2: { volumeM3: 1000, kLaPerD: 0 },
  3: { volumeM3: 1333, kLaPerD: 240 },
  4: { volumeM3: 1333, kLaPerD: 240 },
  5: { volumeM3: 1333, kLaPerD: 84 },
}
const REACTOR_1 = [30, 2.8082, 1149.1252, 82.1349, 2551.7658, 148.3894, 448.8519, 0.0042984, 5.3699, 7.9179, 1.2166, 5.2849, 4.9277]
const values = readValues('biology-values.json')
const reactorValues = (n: number): readonly number[] => (n === 1 ? REACTOR_1 : STATES.map((name) => values.find((v) => v.id === `BSM1-${n}-${name}`)?.expected ?? Number.NaN))

export function benchmarkReactor(n: number, table: readonly Stoichiometry[] = petersen(BSM1)): Float64Array {
  const shape = BENCHMARK[n]
  if (!shape) throw new Error(`no benchmark reactor ${n}`)
  const tank = { ...shape, flowM3PerD: 92_230, influent: reactorValues(n - 1), saturation: 8 }
  return integrate(tankDerivative(tank, BSM1, table), reactorValues(n - 1), 0, 3).y
}

const kept = new Map<number, Float64Array>()
/** The reference tank (0) or a benchmark reactor, integrated once. */
function atRest(n = 0): Float64Array {
  const y = kept.get(n) ?? (n === 0 ? referenceTank() : benchmarkReactor(n))
  kept.set(n, y)
  return y
}

const SCIRP = { muMax: Number.NaN, kS: Number.NaN, decay: 0.057, yieldShare: 0.5 }
const scirpDwell = (): number => dwellForBiomass(SCIRP, 10, 3500, 212.8, 4.6)
const WIESMANN = { muMax: 7.2, kS: 100, decay: 0.24, yieldShare: 0.43 }
const DAVIS = { muMax: 2.5, kS: 100, decay: 0.05, yieldShare: 0.5 }

const ours: Ours = [
  [/^BK-1$/, scirpDwell],
  [/^BK-2$/, () => foodToBiomass(212.8, scirpDwell(), 3500)],
  [/^BK-3$/, () => scirpDwell() * 30_003],
  [/^BK-4$/, () => ageForFood(WIESMANN, 25)],
  [/^BK-5$/, () => ageForFood(WIESMANN, 500)],
  [/^BK-6$/, () => leastFood(WIESMANN)],
  [/^BK-7$/, () => foodAtRest(DAVIS, 5)],
  [/^BK-8$/, () => 24 * dwellForBiomass(DAVIS, 5, 2000, 84, foodAtRest(DAVIS, 5))],
  [/^BK-th-(\w+)$/, (_, [name]) => theta(({ kh: 'kH', ka: 'kA' }[name ?? ''] ?? name) as Warmed)],
  [/^BK-SO$/, () => benchmarkSaturation(15)],
  [/^BK-ASM-TSS$/, () => suspendedSolids(atRest())],
  [/^BK-ASM-(\w+)$/, (_, [state]) => atRest()[AT[state as State]] ?? Number.NaN],
  [/^BSM1-(\d)-(\w+)$/, (_, [n, state]) => atRest(Number(n))[AT[state as State]] ?? Number.NaN],
  [/^BK-G1$/, () => daysToGrow(100, ASM1_20_CEL.muH, 0.5, ASM1_20_CEL.bH)],
  [/^BK-G2$/, () => daysToGrow(100, ASM1_20_CEL.muA, 0.5, ASM1_20_CEL.bA)],
  [/^BK-G3$/, () => daysToGrow(100, ASM1_10_CEL.muA, 0.5, ASM1_10_CEL.bA)],
]

export const biologyCases = join('biology-values.json', ours)
