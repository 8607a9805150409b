/**
 * One configuration of the rules for each kind of measured series, stated before any of it was run and the same for every file. Each rule
 * is made from one figure, the step: the least change that somebody who looks after such an instrument would call plain. Steps and spans:
 * common practice, no source.
 *
 *   limit      median of the first part +- the greater of 6 robust deviations (1.4826 x MAD) and one step, as somebody would set it at
 *              commissioning; 3 of 5 rows beyond raise, 4 of 5 within clear; deadband a fifth of a step
 *   rate       a step between the outer thirds of the span, either way
 *   stuck      less than the resolution of the instrument for the span; not judged at zero where zero is an end
 *   deviation  two steps from the own median of the span, by the median of five rows
 *   drift      a step per span, by the near end of the 95 % interval of the line through it; not for temperature and turbidity of water, which
 *              follow season and weather
 */
import type { AlarmDef } from '../../gateway/alarms/alarm.ts'
import type { Rule } from '../../gateway/alarms/rule.ts'
import type { Quantity } from '../../gateway/site/quantity.ts'
import type { Signal } from '../../gateway/site/site.ts'

const SECOND = 1000
const MIN = 60 * SECOND
const HOUR = 60 * MIN
const DAY = 24 * HOUR

interface Pace {
  readonly rateMs: number
  readonly stillMs: number
  readonly medianMs: number
  readonly leastMs: number
  readonly driftMs: number
  /** After the end of an event, what is told may still be its consequence. */
  readonly afterMs: number
}

/** Rows every 5 to 15 min for weeks; rows every second for 20 min. */
export const PACES = {
  slow: { rateMs: 3 * HOUR, stillMs: 12 * HOUR, medianMs: 7 * DAY, leastMs: 3 * DAY, driftMs: 14 * DAY, afterMs: HOUR },
  fast: { rateMs: MIN, stillMs: MIN, medianMs: 5 * MIN, leastMs: 2 * MIN, driftMs: 5 * MIN, afterMs: MIN },
} as const satisfies Record<string, Pace>

export interface Kind {
  readonly quantity: Quantity
  /** In the unit of the quantity. */
  readonly step: number
  readonly pace: keyof typeof PACES
  readonly drifts: boolean
  /** Zero is where it may rest. */
  readonly restsAtZero?: true
  readonly range?: readonly [number, number]
}

export const KINDS = {
  'pH of water': { quantity: 'ph', step: 0.5, pace: 'slow', drifts: true },
  'oxygen of water': { quantity: 'do', step: 2, pace: 'slow', drifts: true, restsAtZero: true },
  'conductivity of water': { quantity: 'conductivity', step: 50, pace: 'slow', drifts: true, restsAtZero: true },
  'turbidity of water': { quantity: 'turbidity', step: 50, pace: 'slow', drifts: false, restsAtZero: true },
  'temperature of water': { quantity: 'temperature', step: 5, pace: 'slow', drifts: false },
  'temperature of a machine': { quantity: 'temperature', step: 8, pace: 'slow', drifts: true },
  'current of a pump': { quantity: 'current', step: 0.5, pace: 'fast', drifts: true, restsAtZero: true },
  'pressure of a pump': { quantity: 'pressure', step: 500, pace: 'fast', drifts: true, restsAtZero: true, range: [-1000, 10_000] },
  'temperature of a motor': { quantity: 'temperature', step: 5, pace: 'fast', drifts: true },
  'temperature of pumped water': { quantity: 'temperature', step: 2, pace: 'fast', drifts: true },
  'voltage of a pump': { quantity: 'voltage', step: 20, pace: 'fast', drifts: true },
  'flow of a pump': { quantity: 'flow', step: 10, pace: 'fast', drifts: true, restsAtZero: true },
} as const satisfies Record<string, Kind>
export type KindName = keyof typeof KINDS

const SIDES = ['high', 'low'] as const
const N_OF_M = { n: 3, m: 5, clearN: 4, clearM: 5 } as const

/** Rules that need no commissioning: they learn by themselves, or are figures of the kind. `everyMs`: from row to row. */
export function learningAlarms(site: string, s: Signal, kind: Kind, everyMs: number): readonly AlarmDef[] {
  const p = PACES[kind.pace]
  const { step } = kind
  const signal = s.id
  const delays = { onDelayMs: 0, offDelayMs: 2 * everyMs }
  const rests = { restsLow: kind.restsAtZero ? s.resolution : null, restsHigh: null }
  return [
    def(site, `${signal}.stuck`, { kind: 'stuck', signal, change: s.resolution, forMs: p.stillMs, through: null, ...rests, ...delays }),
    ...SIDES.flatMap((side) => {
      const sign = side === 'high' ? 1 : -1
      const from = { kind: 'median', spanMs: p.medianMs, leastMs: p.leastMs } as const
      const moves: Rule = { kind: 'rate', signal, side, limit: sign * step, deadband: step / 2, spanMs: p.rateMs, perMs: (2 / 3) * p.rateMs, ...delays }
      const strays: Rule = { kind: 'deviation', signal, from, as: 'difference', side, limit: sign * 2 * step, deadband: step / 2, medianOverMs: 5 * everyMs, ...delays }
      const perDay = (step * DAY) / p.driftMs
      const drifts: Rule = { kind: 'drift', signal, side, perDay: sign * perDay, deadband: perDay / 2, spanMs: p.driftMs, ...delays }
      return [def(site, `${signal}.rate.${side}`, moves), def(site, `${signal}.deviation.${side}`, strays), ...(kind.drifts ? [def(site, `${signal}.drift.${side}`, drifts)] : [])]
    }),
  ]
}

/** Limits as set at commissioning, from what the first part read. Empty where it read nothing. */
export function limitAlarms(site: string, s: Signal, kind: Kind, first: readonly number[]): readonly AlarmDef[] {
  if (first.length === 0) return []
  const middle = median(first)
  const room = Math.max(6 * 1.4826 * median(first.map((v) => Math.abs(v - middle))), kind.step)
  return SIDES.map((side) =>
    def(site, `${s.id}.limit.${side}`, {
      kind: 'limit',
      signal: s.id,
      side,
      limit: side === 'high' ? middle + room : middle - room,
      deadband: kind.step / 5,
      onDelayMs: 0,
      offDelayMs: 0,
      nOfM: N_OF_M,
    }),
  )
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  const half = sorted.length >> 1
  const upper = sorted[half] ?? Number.NaN
  return sorted.length % 2 === 1 ? upper : (upper + (sorted[half - 1] ?? upper)) / 2
}

const def = (site: string, id: string, rule: Rule): AlarmDef => ({
  id: `${site}/${id}`,
  site,
  stage: null,
  rule,
  priority: 'low',
  what: 'The instrument reads unlike itself',
  cause: 'Not known: measured elsewhere',
  consequence: 'Not known: measured elsewhere',
  action: ['At the instrument: look'],
  confirm: 'It reads like itself again',
  respondWithinMin: 60,
  cautions: [],
  basis: 'Common practice, no source',
  class: 'process',
  severity: 'minor',
  latching: false,
  protection: null,
  owner: 'operations',
  reviewedOn: null,
  reviewBy: null,
  version: 1,
})
