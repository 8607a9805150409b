/** Reads from the history what the outlook of a loop stands on: one key at a time, days of single readings one by one, so that readings that arrive meanwhile come first. */
import type { AlarmView } from './alarms/alarm.ts'
import type { Bucket, HistoryReader, HistoryReading } from './history/history.ts'
import type { LogEntry } from './log/entry.ts'
import { beforeDoses } from './outlook/before-dose.ts'
import { evenHoldMs, runOver } from './outlook/day-amounts.ts'
import { pastDays } from './outlook/days.ts'
import { PH_DAYS } from './outlook/acidity.ts'
import { RECENT_MS } from './outlook/levels.ts'
import type { StoredLoop } from './outlook/stored.ts'
import { washSignal } from './outlook/washed.ts'
import { keyOf } from './site/reading.ts'
import type { Signal, Site } from './site/site.ts'
import type { Point } from './trends/points.ts'

const HOUR_MS = 3_600_000
/** Weeks enough that every weekday was seen six times. */
export const LOOK_DAYS = 42
/** A day of a signal sent every 2 s. */
const MOST_A_DAY = 43_200

/** Lets everything that waits go first. */
export const breathe = (): Promise<void> => new Promise((resolve) => setImmediate(resolve))

export interface Known {
  readonly site: Site
  readonly nowMs: number
  readonly log: readonly LogEntry[]
  readonly alarms: readonly AlarmView[]
}

/** Hours of one signal over [fromMs, toMs), which are whole hours. */
export async function hoursOf(history: HistoryReader, site: string, signal: string, fromMs: number, toMs: number): Promise<readonly Bucket[]> {
  const [series] = await history.buckets([keyOf(site, signal)], fromMs, toMs, Math.round((toMs - fromMs) / HOUR_MS))
  await breathe()
  return series?.buckets ?? []
}

export async function readLoop(history: HistoryReader, k: Known): Promise<StoredLoop> {
  const { site, nowMs } = k
  const days = pastDays(site, nowMs, LOOK_DAYS)
  const fromMs = Math.floor((days[0]?.fromMs ?? nowMs) / HOUR_MS) * HOUR_MS
  const toMs = Math.ceil(nowMs / HOUR_MS) * HOUR_MS
  const hours = new Map<string, readonly Bucket[]>()
  for (const id of hourly(site)) hours.set(id, await hoursOf(history, site.id, id, fromMs, toMs))
  const spans = [...days, { fromMs: days.at(-1)?.toMs ?? nowMs, toMs: nowMs }]
  const runHours = new Map<string, readonly (number | null)[]>()
  const doses = new Map<string, Point[]>()
  const phOf = new Map(site.equipment.flatMap((e) => (e.kind === 'dosing' && (e.doses === 'acid' || e.doses === 'alum') ? [[e.id, phBeside(site, e.serves)] as const] : [])))
  for (const run of contacts(site)) {
    const leastHoldMs = 3 * run.reportEveryMs + 10_000
    const out: (number | null)[] = []
    const ph = run.at === null ? null : (phOf.get(run.at) ?? null)
    for (const [i, d] of spans.entries()) {
      const readings = d.toMs > d.fromMs ? await dayOf(history, site.id, run, d.fromMs - leastHoldMs, d.toMs) : []
      out.push(readings.length === 0 ? null : runOver(readings, d.fromMs, d.toMs, Math.max(leastHoldMs, evenHoldMs(readings))))
      if (ph && readings.length > 0 && i >= spans.length - 1 - PH_DAYS) {
        const points = beforeDoses(await dayOf(history, site.id, ph, d.fromMs - HOUR_MS, d.toMs), readings, 5 * Math.max(ph.sampleEveryMs, 60_000))
        doses.set(ph.id, [...(doses.get(ph.id) ?? []), ...points.filter((p) => p.atMs >= d.fromMs)])
      }
    }
    runHours.set(run.id, out)
  }
  const recent = new Map<string, readonly Point[]>()
  for (const s of site.signals.filter((x) => x.quantity === 'level' && site.stages.some((t) => t.id === x.at))) {
    const readings = await history.range(keyOf(site.id, s.id), nowMs - RECENT_MS, nowMs, MOST_A_DAY)
    recent.set(
      s.id,
      readings.filter((r) => r.quality !== 'bad').map((r) => ({ atMs: r.sourceMs, value: r.value })),
    )
  }
  return { ...k, days, hours, runHours, beforeDoses: new Map([...doses].map(([id, points]) => [id, points.toSorted((a, b) => a.atMs - b.atMs)])), recent }
}

async function dayOf(history: HistoryReader, site: string, s: Signal, fromMs: number, toMs: number): Promise<readonly HistoryReading[]> {
  const readings = await history.range(keyOf(site, s.id), fromMs, toMs, MOST_A_DAY)
  await breathe()
  return readings
}

const phBeside = (site: Site, serves: readonly string[]): Signal | null => site.signals.find((s) => s.quantity === 'ph' && s.at !== null && serves.includes(s.at)) ?? null

/** Signals whose hours are read: the wash meter or contact, pH, counters of machines that have a stock or a service, levels of drums, paper. */
function hourly(site: Site): readonly string[] {
  const wash = washSignal(site)?.signal.id
  const drums = new Set(site.equipment.filter((e) => e.kind === 'dosing').map((e) => e.id))
  const served = new Set(site.equipment.filter((e) => e.serviceEveryH !== undefined).map((e) => e.id))
  const stages = new Set(site.stages.map((t) => t.id))
  return site.signals
    .filter((s) => {
      if (s.id === wash || s.quantity === 'paper' || s.quantity === 'ph' || s.quantity === 'pulses') return true
      if (s.quantity === 'hours') return s.at !== null && (drums.has(s.at) || served.has(s.at))
      return s.quantity === 'level' && !(s.at !== null && stages.has(s.at))
    })
    .map((s) => s.id)
}

/** Run contacts that are read one by one: of dosing pumps without an hour meter, of the washer that no meter tells, of machines with a service. */
function contacts(site: Site): readonly Signal[] {
  const wash = washSignal(site)
  const metered = (id: string): boolean => site.signals.some((s) => s.at === id && s.quantity === 'hours')
  return site.signals.filter((s) => {
    if (s.quantity !== 'run' || s.at === null) return false
    if (wash?.by === 'contact' && s.id === wash.signal.id) return true
    const e = site.equipment.find((x) => x.id === s.at)
    if (!e) return false
    return (e.kind === 'dosing' && (!metered(e.id) || e.doses === 'acid' || e.doses === 'alum')) || (e.serviceEveryH !== undefined && !metered(e.id))
  })
}
