/** What stands beside a stage of the large ring: its leading figure and one or two lines of what runs and what else is measured there. */
import type { LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { inReadersUnit } from './unit-choice.ts'
import { timeLeft } from '../words/times.ts'
import { shown, type Shown } from './freshness.ts'

export interface StageFacts {
  /** Signal of the leading figure. */
  readonly signal: string | null
  readonly value: Shown | null
  /** Word after the unit: "oxygen". */
  readonly of: string
  readonly lines: readonly string[]
  /** Machines of this stage: does any run; null: not known or has none. */
  readonly runs: boolean | null
  readonly aerated: boolean | null
}

const LEADS: Readonly<Record<string, readonly string[]>> = {
  sump: ['level', 'volume'],
  filter: ['paper'],
  treatment: ['do', 'ph', 'temperature'],
  bio: ['do', 'orp', 'ph', 'temperature'],
  finished: ['level', 'volume', 'orp'],
  washer: ['flow', 'pressure'],
  pad: ['rain'],
}
const WORD: Readonly<Record<string, string>> = { do: 'oxygen', ph: 'pH', orp: 'redox', level: '', paper: 'left', rain: 'rain' }

export function stageFacts(detail: LoopDetailBody, stageId: string, signals: readonly SignalBody[], nowMs: number): StageFacts {
  const stage = detail.stages.find((s) => s.id === stageId)
  const mine = signals.filter((s) => s.stage === stageId)
  const direct = mine.filter((s) => s.at === stageId)
  const lead = (LEADS[stage?.kind ?? ''] ?? []).map((q) => direct.find((s) => s.quantity === q)).find((s) => s !== undefined) ?? null
  const machines = detail.equipment.filter((e) => e.serves.includes(stageId) || signals.some((s) => s.at === e.id && s.stage === stageId))
  const lines: string[] = []
  const state = (id: string | null): number | null => {
    const s = signals.find((x) => x.id === id)
    return s && s.quality !== 'bad' && s.value !== null && ['good', 'doubtful'].includes(shown(s, nowMs).kind) ? s.value : null
  }
  const running = machines.map((m) => ({ m, on: state(m.run) }))
  for (const { m, on } of running.slice(0, 2)) {
    if (on === null) continue
    const amps = signals.find((s) => s.id === m.current)
    const a = amps ? shown(amps, nowMs) : null
    lines.push(`${lower(m.name)} ${doing(m.name, on === 1, m.kind === 'aerator')}${a && a.kind === 'good' ? `, ${a.text}\u00a0${a.unit}` : ''}`)
  }
  if (stage?.kind === 'finished' && detail.waterMin !== null) lines.unshift(`${timeLeft(detail.waterMin)} of washing`)
  if (stage?.kind === 'finished' && stage.volumeL !== null && detail.waterPct !== null)
    lines.unshift(inReadersUnit(Math.round((stage.volumeL * detail.waterPct) / 1000) * 10, 0, 'L'))
  for (const s of direct) {
    if (s === lead || lines.length >= 3) continue
    const v = shown(s, nowMs)
    if (v.kind === 'none') continue
    if (s.states) {
      if (s.value === 1) lines.push(`${lower(s.name.split(',')[0] ?? '')} ${v.text}`)
    } else if (s.kind === 'analogue') lines.push(`${s.quantity === 'ph' ? 'pH ' : ''}${v.text}${v.unit ? `\u00a0${v.unit}` : ''}${v.kind === 'stale' ? ', old' : ''}`)
  }
  if (lines.length === 0 && !lead) {
    const all = [...mine, ...signals.filter((s) => machines.some((m) => m.run === s.id))]
    if (all.length === 0) lines.push('no signal')
    else if (all.every((s) => shown(s, nowMs).kind === 'none')) lines.push('nothing heard')
  }
  const aerators = running.filter(({ m }) => m.kind === 'aerator')
  const others = running.filter(({ m }) => m.kind !== 'aerator')
  const any = (list: typeof running): boolean | null => (list.every(({ on }) => on === null) ? null : list.some(({ on }) => on === 1))
  return {
    signal: lead?.id ?? null,
    value: lead ? shown(lead, nowMs) : null,
    of: lead ? (WORD[lead.quantity] ?? '') : '',
    lines: lines.slice(0, 3),
    runs: any(others),
    aerated: any(aerators),
  }
}

/** Several machines under one name run, one runs. */
function doing(name: string, on: boolean, mustRun: boolean): string {
  const many = /[^s]s$/.test(name)
  if (on) return many ? 'run' : 'runs'
  return mustRun ? 'stopped' : many ? 'wait' : 'waits'
}

const lower = (s: string): string => (s.startsWith('pH') ? s : s.slice(0, 1).toLowerCase() + s.slice(1))
