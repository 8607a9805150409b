/**
 * Each kind of rule, made ready once at load: what it reads, and how the values it reads now are judged. A rule never sees a
 * clock; it is asked again whenever one of its signals changes.
 *
 * unknown: nothing usable to judge by, so the alarm keeps its state (ALM-T31). A gate that is shut (yard closed, pump at rest)
 * turns `violated` into `inside`: nothing is raised, and nothing that stands is cleared by closing time.
 */
import { within, type Site } from '../site/site.ts'
import type { AlarmDef, Rule } from './alarm.ts'
import type { Delays } from './delay.ts'
import { factRule } from './fact-rule.ts'
import { addDecimal, judgeLimit, makeLimit, type Judgement } from './limit.ts'
import { heard, known, type SignalMemory } from './signal-memory.ts'

export type Verdict = Judgement | 'unknown'

export interface ReadyRule {
  /** Signals that make it worth asking again. */
  readonly reads: readonly SignalMemory[]
  readonly unit: string
  readonly limit: number | null
  judge(atMs: number): Verdict
  /** The signal the verdict rests on now; its age says how long the verdict may stand. */
  restsOn(): SignalMemory | null
  /** The figure shown beside the limit. */
  value(): number | null
  delays(): Delays
}

/** Washing that never stops is a stuck signal and no reason to keep quiet. Common practice, no source. */
export const IDLE_TRUST_MS = 4 * 3_600_000
/** Air that is back must be this much above its proof limit (common practice, no source: deadband 5 %). */
const PROOF_DEADBAND = 0.05
/** The tank is watched from this long before the yard opens. */
const BEFORE_OPENING_MS = 3_600_000

export type OpenAt = (atMs: number) => boolean

/** Is the yard open? Answered once a minute and remembered: the wall clock is dear, and opening hours are in minutes. */
export function openAt(site: Site): OpenAt {
  const seen = new Map<number, boolean>()
  return (atMs) => {
    const minute = Math.floor(atMs / 60_000)
    let open = seen.get(minute)
    if (open === undefined) {
      open = within(site.open, site.zone, atMs, true)
      if (seen.size >= 256) seen.clear()
      seen.set(minute, open)
    }
    return open
  }
}

/** Makes a rule ready, or gives null when a signal it needs is none of the site's. `silent` and `blind` are judged by the tick. */
export function readyRule(def: AlarmDef, find: (signal: string) => SignalMemory | null, isOpen: OpenAt): ReadyRule | null {
  const rule = def.rule
  switch (rule.kind) {
    case 'limit':
      return limitRule(rule, find, isOpen)
    case 'state':
      return stateRule(rule, find)
    case 'no-air':
      return noAirRule(rule, find)
    case 'water-left':
      return waterLeftRule(rule, find, isOpen)
    case 'fact':
      return factRule(rule)
    case 'silent':
    case 'blind':
      return { reads: [], unit: 'min', limit: rule.afterMs / 60_000, judge: () => 'unknown', restsOn: () => null, value: () => null, delays: () => NO_DELAY }
  }
}

const NO_DELAY: Delays = { onMs: 0, offMs: 0 }
type Find = (signal: string) => SignalMemory | null
type RuleOf<K extends Rule['kind']> = Extract<Rule, { kind: K }>

function limitRule(rule: RuleOf<'limit'>, find: Find, isOpen: OpenAt): ReadyRule | null {
  const m = find(rule.signal)
  const gate = rule.when?.signal === undefined ? null : find(rule.when.signal)
  const idle = rule.when?.idle === undefined ? null : find(rule.when.idle)
  if (!m || (rule.when?.signal !== undefined && !gate) || (rule.when?.idle !== undefined && !idle)) return null
  const limit = makeLimit(rule.side, rule.limit, rule.deadband)
  const delays: Delays = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  const onlyOpen = rule.when?.open === true
  // A gate that cannot be read is open: doubt must not silence.
  const shut = (atMs: number): boolean =>
    (gate !== null && known(gate) && gate.value === 0) ||
    (idle !== null && known(idle) && idle.busySinceMs !== null && atMs - idle.busySinceMs < IDLE_TRUST_MS) ||
    (onlyOpen && !isOpen(atMs))
  return {
    reads: [m, ...(gate ? [gate] : []), ...(idle ? [idle] : [])],
    unit: m.unit,
    limit: rule.limit,
    judge: (atMs) => {
      if (!known(m)) return 'unknown'
      const j = judgeLimit(m.value, limit)
      return j === 'violated' && shut(atMs) ? 'inside' : j
    },
    restsOn: () => m,
    value: () => m.value,
    delays: () => delays,
  }
}

function stateRule(rule: RuleOf<'state'>, find: Find): ReadyRule | null {
  const m = find(rule.signal)
  if (!m) return null
  const delays: Delays = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  return {
    reads: [m],
    unit: m.unit,
    limit: null,
    judge: () => (known(m) ? (m.value === rule.value ? 'violated' : 'cleared') : 'unknown'),
    restsOn: () => m,
    value: () => m.value,
    delays: () => delays,
  }
}

/**
 * Pressure or flow is the proof of air: a contact is blind to a torn line. Where the proof cannot be read, a contact that is
 * open still says "no air", but one that is closed says nothing.
 */
function noAirRule(rule: RuleOf<'no-air'>, find: Find): ReadyRule | null {
  const proof = rule.proof === null || rule.proofLow === null ? null : find(rule.proof)
  const run = rule.run === null ? null : find(rule.run)
  const oxygen = rule.oxygen === null ? null : find(rule.oxygen)
  if (!proof && !run) return null
  const low = rule.proofLow ?? 0
  const back = addDecimal(low, low * PROOF_DEADBAND)
  const slow: Delays = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  const fast: Delays = { onMs: Math.min(rule.fastOnDelayMs, rule.onDelayMs), offMs: rule.offDelayMs }
  const byProof = (): boolean => proof !== null && known(proof)
  return {
    reads: [proof, run, oxygen].filter((x) => x !== null),
    unit: proof?.unit ?? '1',
    limit: proof ? low : null,
    judge: () => {
      if (proof && known(proof)) return proof.value < low ? 'violated' : proof.value >= back ? 'cleared' : 'inside'
      if (!run || !known(run)) return 'unknown'
      if (run.value === 0) return 'violated'
      return proof && heard(proof) ? 'unknown' : 'cleared'
    },
    restsOn: () => (byProof() ? proof : (run ?? proof)),
    value: () => (byProof() ? (proof?.value ?? null) : null),
    delays: () => (oxygen && known(oxygen) && oxygen.value < rule.doFastBelow ? fast : slow),
  }
}

/** Minutes of washing in a finished-water tank: what stands above `emptyPct`, at one lance. Litres = percent / 100 x litres to the overflow. */
export function minutesLeft(levelPct: number, t: { readonly volumeL: number; readonly lanceLPerMin: number; readonly emptyPct: number }): number {
  return (Math.max(0, levelPct - t.emptyPct) / 100) * (t.volumeL / t.lanceLPerMin)
}

function waterLeftRule(rule: RuleOf<'water-left'>, find: Find, isOpen: OpenAt): ReadyRule | null {
  const m = find(rule.level)
  if (!m) return null
  const limit = makeLimit('low', rule.belowMin, rule.deadbandMin)
  const delays: Delays = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  return {
    reads: [m],
    unit: 'min',
    limit: rule.belowMin,
    judge: (atMs) => {
      if (!known(m)) return 'unknown'
      const j = judgeLimit(minutesLeft(m.value, rule), limit)
      return j === 'violated' && !isOpen(atMs) && !isOpen(atMs + BEFORE_OPENING_MS) ? 'inside' : j
    },
    restsOn: () => m,
    value: () => minutesLeft(m.value, rule),
    delays: () => delays,
  }
}
