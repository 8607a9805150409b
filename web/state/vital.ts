/** How a computed signal is said: its figure with its bound and interval, or why there is none; and those a loop cannot tell, by what would unlock them. */
import type { LoopDetailBody, SignalBody, StageBody, VitalBody } from '../../server/wire.ts'
import { figure, measured } from '../words/numbers.ts'
import { SUB_WORDS } from '../words/words.ts'

const BOUND: Readonly<Record<NonNullable<VitalBody['bound']>, string>> = { 'at-least': 'at least ', 'at-most': 'at most ', below: 'below ' }

/** Of a computed figure these mean the computation, not a probe. */
const WHY: Readonly<Record<string, string>> = { not_accurate: 'doubtful: something in it is assumed', substitute: 'doubtful: part of it is measured in another place' }

export interface SaidVital {
  readonly text: string
  readonly unit: string
  readonly kind: 'good' | 'doubtful' | 'none'
  /** "86 to 91 %"; empty: none. */
  readonly span: string
  readonly note: string
}

export function said(v: VitalBody): SaidVital {
  if (v.value === null) return { text: '–', unit: '', kind: 'none', span: '', note: v.why ?? 'withheld' }
  const bound = v.bound ? BOUND[v.bound] : ''
  // A bound already is one end of its interval.
  const span = v.interval === null || v.bound === 'below' || v.bound === 'at-most' ? '' : spanOf(v.interval, v.digits, v.unitText)
  const doubtful = v.quality !== 'good'
  return {
    text: bound + figure(v.value, v.digits),
    unit: v.unitText,
    kind: doubtful ? 'doubtful' : 'good',
    span,
    note: doubtful ? (WHY[v.sub ?? ''] ?? (SUB_WORDS[v.sub ?? ''] || 'doubtful')) : '',
  }
}

function spanOf(i: NonNullable<VitalBody['interval']>, digits: number, unit: string): string {
  const low = figure(i.low, digits)
  if (i.high === null) return `${measured(i.low, digits, unit)} or more`
  const high = figure(i.high, digits)
  return low === high ? '' : `${low} to ${measured(i.high, digits, unit)}`
}

export interface VitalGroup {
  readonly title: string
  readonly vitals: readonly VitalBody[]
}

/** Those that can be told here, tank by tank in the order of the water, then the loop as a whole. */
export function vitalGroups(vitals: readonly VitalBody[], stages: readonly StageBody[]): readonly VitalGroup[] {
  const told = vitals.filter((v) => !v.unobservable)
  const groups = stages.map((s) => ({ title: s.name, vitals: told.filter((v) => v.stage === s.id) }))
  return [...groups, { title: 'The loop as a whole', vitals: told.filter((v) => !stages.some((s) => s.id === v.stage)) }].filter((g) => g.vitals.length > 0)
}

export interface Lacking {
  readonly unlock: string
  readonly why: string
  readonly names: readonly string[]
}

/** Those that cannot, together where the same thing would unlock them. */
export function lacking(vitals: readonly VitalBody[]): readonly Lacking[] {
  const out = new Map<string, { unlock: string; why: string; names: string[] }>()
  for (const v of vitals) {
    if (!v.unobservable) continue
    const unlock = v.unlock ?? ''
    const found = out.get(unlock)
    if (found) found.names.push(v.name)
    else out.set(unlock, { unlock, why: v.why ?? '', names: [v.name] })
  }
  return [...out.values()]
}

/** As a trend sees it: one line like any measured one. */
const asSignal = (v: VitalBody): SignalBody => ({
  id: v.id,
  name: v.name,
  quantity: 'computed',
  kind: 'analogue',
  unit: v.unit,
  unitText: v.unitText,
  unitSpoken: v.unitSpoken,
  stage: v.stage,
  at: v.stage,
  digits: v.digits,
  range: [0, 0],
  states: null,
  sampleEveryMs: 60_000,
  // A figure that does not move is given every quarter of an hour.
  reportEveryMs: 900_000,
  limits: [],
  value: v.value,
  quality: v.quality,
  sub: v.sub,
  sourceMs: v.atMs,
  receivedMs: v.atMs,
})

/** The loop with its computed signals among the measured ones, for trends. */
export const withVitals = (loop: LoopDetailBody): LoopDetailBody => ({ ...loop, signals: [...loop.signals, ...loop.vitals.filter((v) => !v.unobservable).map(asSignal)] })
