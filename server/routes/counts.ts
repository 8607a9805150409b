import { z } from 'zod'
import type { HistoryReading } from '../../gateway/history/history.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import type { GatewayPort, SiteState } from '../../gateway/port.ts'
import { runTime, sum } from '../../gateway/process/counters.ts'
import { QUANTITIES } from '../../gateway/site/quantity.ts'
import { keyOf } from '../../gateway/site/reading.ts'
import type { Signal } from '../../gateway/site/site.ts'
import { countedBody, holdMs, incrementsOf, runStates, spanned, spannedRun } from '../bodies/counts.ts'
import { unitText } from '../bodies/unit.ts'
import { Fault } from '../errors.ts'
import { countsBody, machinesBody } from '../wire.ts'
import { countField, siteField, timeField } from './fields.ts'
import { spanOf } from './history.ts'
import { loopOf, measuredOf } from './known.ts'
import { row } from './row.ts'

const HOUR_MS = 3_600_000
const DAY_MS = 86_400_000
/** So far back the reading is looked for from which the first one counts. */
const BEFORE_MS = 2 * DAY_MS
/** A month of a signal sent every 5 s. */
const MOST_READINGS = 600_000

export const countRows = [
  row({
    method: 'GET',
    path: '/api/counts/:site/:signal',
    summary:
      'How far a counter moved, or how many hours a machine ran by its run bit, in equal spans: rollover, reset, replacement (site log) and impossible steps are taken out. A span in which no reading ends is null.',
    params: z.strictObject({ site: siteField, signal: z.string().min(1).max(200).describe('Id of a counter or of a run bit of that loop.') }),
    query: z.strictObject({
      from: timeField.optional().describe('Start, inclusive; a day before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
      points: countField(1, 5000, 'Number of spans; 24 unless given').optional(),
    }),
    reply: countsBody,
    faults: ['unknown-loop', 'unknown-signal'],
    async answer({ gateway }, { params, query, nowMs }) {
      const signal = measuredOf(loopOf(gateway, params.site), params.signal)
      const isRun = signal.quantity === 'run'
      if (!isRun && QUANTITIES[signal.quantity].kind !== 'counter')
        throw new Fault(
          'bad-request',
          `path field signal: "${signal.id}" is ${QUANTITIES[signal.quantity].word}: only counters and run bits count up; ask /api/history for its trend`,
        )
      const { fromMs, toMs } = spanOf(query, nowMs, DAY_MS)
      const [readings, log] = await Promise.all([readingsOf(gateway, params.site, signal, fromMs, toMs), logOf(gateway, params.site, toMs)])
      const points = query.points ?? 24
      const head = { site: params.site, signal: signal.id, fromMs, toMs }
      if (isRun) {
        const states = runStates(readings)
        const t = runTime(states, fromMs, toMs, holdMs(signal))
        const counted = { total: hours(t.onMs), atLeast: t.unknownMs > 0, rollovers: 0, resets: 0, replacements: 0, steps: [] }
        return { ...head, unit: 'h', unitText: 'h', ...spannedRun(states, holdMs(signal), fromMs, toMs, points), ...counted, starts: t.starts, unknownH: hours(t.unknownMs) }
      }
      const all = incrementsOf(signal, readings, log).filter((i) => i.atMs >= fromMs)
      return { ...head, unit: signal.unit, unitText: unitText(signal.unit), ...spanned(all, fromMs, toMs, points), ...countedBody(sum(all)), starts: null, unknownH: null }
    },
  }),
  row({
    method: 'GET',
    path: '/api/machines/:site',
    summary: 'Hours and starts of every machine of a loop over the last day and week, by its hour meter where it has one, else by its run bit, and which of them it was.',
    params: z.strictObject({ site: siteField }),
    reply: machinesBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { params, nowMs }) {
      const state = loopOf(gateway, params.site)
      const log = await logOf(gateway, params.site, nowMs)
      const machines: z.input<typeof machinesBody>['machines'] = []
      for (const e of state.site.equipment) {
        const machine = await machineOf(gateway, state, e.id, log, nowMs)
        if (machine.by !== null) machines.push({ id: e.id, name: e.name, ...machine })
        // A week of one machine takes up to 25 ms: readings that arrive meanwhile come first.
        await new Promise((resolve) => setImmediate(resolve))
      }
      return { nowMs, machines }
    },
  }),
]

async function machineOf(gateway: GatewayPort, { site }: SiteState, id: string, log: readonly LogEntry[], nowMs: number) {
  const at = (quantity: Signal['quantity']): Signal | undefined => site.signals.find((s) => s.at === id && s.quantity === quantity)
  const [meter, starts, run] = [at('hours'), at('starts'), at('run')]
  const weekMs = nowMs - 7 * DAY_MS
  const read = (s: Signal | undefined): Promise<readonly HistoryReading[]> => (s ? readingsOf(gateway, site.id, s, weekMs, nowMs) : Promise.resolve([]))
  const [ofMeter, ofStarts, ofRun] = await Promise.all([read(meter), read(starts), read(run)])
  const since = (fromMs: number) => {
    const t = run ? runTime(runStates(ofRun), fromMs, nowMs, holdMs(run)) : null
    const m = meter ? sum(incrementsOf(meter, ofMeter, log).filter((i) => i.atMs >= fromMs)) : null
    const s = starts ? sum(incrementsOf(starts, ofStarts, log).filter((i) => i.atMs >= fromMs)) : null
    // An hour meter of another unit, minutes or seconds, is told in hours.
    const perH = meter?.unit === 'min' ? 60 : meter?.unit === 's' ? 3600 : 1
    return {
      hours: m && ofMeter.length > 0 ? Number((m.total / perH).toPrecision(6)) : t && ofRun.length > 0 ? hours(t.onMs) : null,
      starts: s && ofStarts.length > 0 ? s.total : t && ofRun.length > 0 ? t.starts : null,
      atLeast: m && ofMeter.length > 0 ? m.atLeast : t !== null && t.unknownMs > HOUR_MS / 60,
    }
  }
  const by: 'meter' | 'run' | null = meter && ofMeter.length > 0 ? 'meter' : run && ofRun.length > 0 ? 'run' : null
  const changes = meter ? sum(incrementsOf(meter, ofMeter, log).filter((i) => i.atMs >= weekMs)) : null
  return {
    by,
    day: since(nowMs - DAY_MS),
    week: since(weekMs),
    meter: meter ? (ofMeter.at(-1)?.value ?? null) : null,
    resets: changes?.resets ?? 0,
    replacements: changes?.replacements ?? 0,
    rollovers: changes?.rollovers ?? 0,
  }
}

async function readingsOf(gateway: GatewayPort, site: string, signal: Signal, fromMs: number, toMs: number): Promise<readonly HistoryReading[]> {
  const readings = await gateway.history.range(keyOf(site, signal.id), Math.max(0, fromMs - BEFORE_MS), toMs, MOST_READINGS)
  if (readings.length >= MOST_READINGS) throw new Fault('bad-request', `query fields from and to: more than ${MOST_READINGS} readings lie between them: ask for a shorter span`)
  return readings
}

const logOf = (gateway: GatewayPort, site: string, toMs: number): Promise<readonly LogEntry[]> => gateway.log.list({ site, fromMs: 0, toMs: toMs + 1, limit: 10_000 })

const hours = (ms: number): number => Number((ms / HOUR_MS).toPrecision(12))
