/**
 * Salt in a loop that never discharges: what make-up brings stays until carry-off or blowdown takes it.
 *
 * At rest, make-up x its salt = (carry-off + blowdown) x the loop's salt. So the loop holds make-up / (carry-off + blowdown) times
 * the salt of its make-up; evaporation takes water and leaves salt. "1 / (loss + blowdown)" would treat carry-off as free of salt.
 * source  mass balance; loss of 20-30 % for a lance on an open pad: 2017 field study as quoted, common practice
 * units   flows in any unit that is the same for all (L/d, or share of the water washed)
 */
import { type NotObservable, notObservable, positive, within } from './range.ts'

export interface WaterLoss {
  readonly evaporation: number
  /** Water that leaves on vehicles and as spray. */
  readonly carryOff: number
  readonly blowdown: number
}

/** Fresh water that keeps the loop full. */
export const makeUp = (l: WaterLoss): number =>
  positive('evaporation', l.evaporation, 'of water', true) + positive('carry-off', l.carryOff, 'of water', true) + positive('blowdown', l.blowdown, 'of water', true)

/** Make-up for a share of the washed water that is lost; unit of `washed`. */
export const makeUpOfLoss = (washed: number, lossShare: number): number => positive('water washed', washed, 'of water', true) * within('share lost', lossShare, 0, 1, '')

/** How many times the make-up's salt the loop holds at rest. Infinity when nothing carries salt out. */
export function saltCycles(l: WaterLoss): number {
  const fresh = makeUp(l)
  if (fresh === 0) return 1
  const leaves = l.carryOff + l.blowdown
  return leaves === 0 ? Number.POSITIVE_INFINITY : fresh / leaves
}

/** Salt carried in by make-up plus what is dosed, per washed water, at rest: conductivity the loop tends to, uS/cm. `dosed` uS/cm x flow. */
export function restingConductivity(makeUpUSPerCm: number, l: WaterLoss, dosed = 0): number {
  positive('conductivity of the make-up', makeUpUSPerCm, 'uS/cm', true)
  const leaves = l.carryOff + l.blowdown
  if (leaves === 0) return Number.POSITIVE_INFINITY
  return (makeUp(l) * makeUpUSPerCm + positive('salt dosed', dosed, 'uS/cm of water', true)) / leaves
}

/**
 * Evaporation and carry-off told apart. Make-up alone cannot do it; with the conductivity of both waters, at rest, it can.
 * makeUpFlow, blowdown   same unit; loopUSPerCm null where nobody measures it
 * gives  not-observable without both conductivities, or when the loop is fresher than its make-up (rain, or not at rest)
 */
export function lossFromConductivity(makeUpFlow: number, blowdown: number, makeUpUSPerCm: number | null, loopUSPerCm: number | null): WaterLoss | NotObservable {
  positive('make-up', makeUpFlow, 'of water', true)
  positive('blowdown', blowdown, 'of water', true)
  if (makeUpUSPerCm === null || loopUSPerCm === null) return notObservable('evaporation and carry-off need the conductivity of make-up and of the loop')
  // Two meters agree within some 2 %: inside that the two waters count as equal.
  if (positive('conductivity of the loop', loopUSPerCm, 'uS/cm') < 0.98 * positive('conductivity of the make-up', makeUpUSPerCm, 'uS/cm'))
    return notObservable('the loop is fresher than its make-up: rain came in, or the loop is not at rest')
  const leaves = Math.min(makeUpFlow, (makeUpFlow * makeUpUSPerCm) / loopUSPerCm)
  if (blowdown > 1.02 * leaves)
    return notObservable(`the salt balance lets ${leaves.toPrecision(3)} leave and the blowdown alone is ${blowdown}: salt comes from elsewhere (dosing, road salt)`)
  return { evaporation: makeUpFlow - leaves, carryOff: Math.max(0, leaves - blowdown), blowdown }
}
