/**
 * Individuals chart: limits for single readings from how much neighbours differ. Neighbours are taken, not the whole spread, so
 * that a slow drift does not widen the limits that are to find it.
 *
 * No neighbour difference is taken across a missing reading or a gap. A flat or stepped signal: the standard deviation is at least
 * the resolution, so its own step is no signal.
 * source  NIST/SEMATECH e-Handbook 6.3.2.2; 1.128 is the mean range of two standard normals (2 / sqrt(pi))
 * cost    O(n) time, O(1) memory
 */
import { type NotObservable, notObservable, positive, within } from '../process/range.ts'
import { isFigure, type Point } from './points.ts'

const MEAN_RANGE_OF_TWO = 1.128

export interface IndividualsPlan {
  /** Unit of the signal. */
  readonly resolution: number
  readonly gapMs: number
  /** Limits at this many standard deviations, 2-6; 3 is usual. */
  readonly width: number
  readonly leastNeighbours: number
}

export interface IndividualsChart {
  readonly mean: number
  readonly meanRange: number
  readonly sd: number
  readonly low: number
  readonly high: number
  /** Neighbour differences taken. */
  readonly neighbours: number
}

/** points ascending. throws RangeError for a plan outside its ranges or times that run backwards */
export function individualsChart(points: readonly Point[], p: IndividualsPlan): IndividualsChart | NotObservable {
  positive('resolution', p.resolution, 'of the signal')
  positive('gap', p.gapMs, 'ms')
  within('width of the limits', p.width, 1, 10, 'standard deviations')
  let n = 0
  let sum = 0
  let neighbours = 0
  let ranges = 0
  let before: Point | null = null
  for (const at of points) {
    if (before !== null && at.atMs < before.atMs) throw new RangeError(`points run backwards: ${at.atMs} after ${before.atMs}; sort them by time`)
    if (isFigure(at.value)) {
      n += 1
      sum += at.value
      if (before !== null && isFigure(before.value) && at.atMs - before.atMs <= p.gapMs) {
        neighbours += 1
        ranges += Math.abs(at.value - before.value)
      }
    }
    before = at
  }
  if (neighbours < p.leastNeighbours) return notObservable(`only ${neighbours} pairs of neighbouring readings are there and ${p.leastNeighbours} are needed`)
  const mean = sum / n
  const meanRange = ranges / neighbours
  const sd = Math.max(p.resolution, meanRange / MEAN_RANGE_OF_TWO)
  return { mean, meanRange, sd, low: mean - p.width * sd, high: mean + p.width * sd, neighbours }
}
