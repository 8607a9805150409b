/** One signal with its newest reading and the limits its alarms watch. */
import type { AlarmDef, AlarmView } from '../../gateway/alarms/alarm.ts'
import { QUANTITIES, type QuantitySpec } from '../../gateway/site/quantity.ts'
import type { Signal } from '../../gateway/site/site.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import type { SignalBody } from '../wire.ts'
import { unitSpoken, unitText } from './unit.ts'

export function signalBodyOf(signal: Signal, reading: Reading | undefined, alarms: readonly AlarmView[]): SignalBody {
  const spec: QuantitySpec = QUANTITIES[signal.quantity]
  return {
    id: signal.id,
    name: signal.name,
    quantity: signal.quantity,
    kind: spec.kind,
    unit: signal.unit,
    unitText: unitText(signal.unit),
    unitSpoken: unitSpoken(signal.unit),
    stage: signal.stage,
    at: signal.at,
    digits: signal.digits,
    range: [...signal.range],
    states: spec.states ? [...spec.states] : null,
    sampleEveryMs: signal.sampleEveryMs,
    reportEveryMs: signal.reportEveryMs,
    limits: limitsOf(
      signal.id,
      alarms.map((a) => a.def),
    ),
    value: reading?.value ?? null,
    quality: reading?.quality ?? null,
    sub: reading?.sub ?? null,
    sourceMs: reading?.sourceMs ?? null,
    receivedMs: reading?.receivedMs ?? null,
  }
}

type Limit = SignalBody['limits'][number]

/**
 * Limits of one signal, lowest first. Of two on one side the one further out is HH or LL; so named by what they are, because an id is
 * a name and need not say it. More than two on a side: those between carry the inner name.
 */
export function limitsOf(signal: string, defs: readonly AlarmDef[]): Limit[] {
  const out: Limit[] = []
  for (const side of ['low', 'high'] as const) {
    const found: Limit[] = []
    for (const { id, rule } of defs) {
      // Two alarms may watch one limit under different conditions: it is one line in a picture.
      if (rule.kind !== 'limit' || rule.signal !== signal || rule.side !== side || found.some((f) => f.value === rule.limit)) continue
      found.push({ name: side === 'low' ? 'L' : 'H', value: rule.limit, alarm: id })
    }
    // Two alarms may watch one limit, one of them only while dosing runs: one line is enough.
    found.sort((a, b) => a.value - b.value)
    for (let i = found.length - 1; i > 0; i--) if (found[i]?.value === found[i - 1]?.value) found.splice(i, 1)
    const outer = side === 'low' ? found[0] : found.at(-1)
    if (outer && found.length > 1) outer.name = side === 'low' ? 'LL' : 'HH'
    out.push(...found)
  }
  return out
}
