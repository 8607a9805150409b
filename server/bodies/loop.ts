/** One loop as the fleet page shows it. */
import type { AlarmView, Rule } from '../../gateway/alarms/alarm.ts'
import { effectWords } from '../../gateway/alarms/loop-effect.ts'
import { firstStates, loopNow } from '../../gateway/alarms/loop-state.ts'
import type { LoopStateView, SiteState } from '../../gateway/port.ts'
import { reportEveryMs, type Site } from '../../gateway/site/site.ts'
import type { LoopBody, StageBody } from '../wire.ts'
import { alarmBodyOf, worstFirst } from './alarm.ts'
import { isStale } from './freshness.ts'
import { loopStateBodyOf } from './loop-state.ts'
import { levelNow, minutesLeft, waterUse, type WaterUse } from './water.ts'

export type WaterRule = Extract<Rule, { kind: 'water-left' }>

/** The rule for minutes of washing left, when this site has one: the page then counts as the alarm does. */
export function waterRuleOf(alarms: readonly AlarmView[]): WaterRule | null {
  for (const { def } of alarms) if (def.rule.kind === 'water-left') return def.rule
  return null
}

export function loopBodyOf(state: SiteState, standing: readonly AlarmView[], water: WaterRule | null, nowMs: number, loopState: LoopStateView = asInFile(state, nowMs)): LoopBody {
  const { site } = state
  const levelPct = levelNow(state, 'finished', nowMs)
  const use: WaterUse | null = water ?? waterUse(site)
  return {
    id: site.id,
    name: site.name,
    area: site.area,
    zone: site.zone,
    instrumentation: site.instrumentation,
    stages: stagesOf(site),
    heardMs: state.heardMs,
    silent: state.silent,
    reportEveryMs: reportEveryMs(site),
    waterPct: levelPct,
    sumpPct: levelNow(state, 'sump', nowMs),
    waterMin: levelPct === null || use === null ? null : minutesLeft(levelPct, use),
    doubtful: doubtfulStages(state, nowMs),
    alarms: standing.toSorted(worstFirst).map((v) => alarmBodyOf(v, state, nowMs)),
    state: loopStateBodyOf(loopState, nowMs),
  }
}

/** Nobody has said anything: as the site file has it. */
function asInFile({ site }: SiteState, nowMs: number): LoopStateView {
  const now = loopNow(firstStates(site.firstState ?? null), nowMs)
  return { now, words: effectWords(now, nowMs), checks: [] }
}

const stagesOf = (site: Site): StageBody[] => site.stages.map((s) => ({ id: s.id, kind: s.kind, name: s.name, volumeL: s.volumeL }))

/**
 * Stages that stand on a reading we doubt: uncertain, bad, or stale while the loop itself reports. A silent loop is told as silent,
 * not as doubtful in every stage, and a signal never heard of is plain absence.
 */
export function doubtfulStages(state: SiteState, nowMs: number): string[] {
  const found = new Set<string>()
  for (const signal of state.site.signals) {
    const reading = signal.stage === null ? undefined : state.latest.get(signal.id)
    if (signal.stage === null || !reading) continue
    if (reading.quality !== 'good' || (!state.silent && isStale(signal, reading, nowMs))) found.add(signal.stage)
  }
  return state.site.stages.map((s) => s.id).filter((id) => found.has(id))
}
