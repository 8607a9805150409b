/**
 * The gateway behind its port: a reading comes from intake (already on disk), becomes the current value, goes past the
 * alarm rules, and is told to whoever listens. One direction; nothing here waits for a listener.
 */
import type { AlarmEvent, AlarmView } from './alarms/alarm.ts'
import type { AlarmKeeper } from './alarms/keeper.ts'
import type { Clock } from './clock.ts'
import type { Current } from './current.ts'
import type { HistoryReader } from './history/history.ts'
import type { LogEntry, NewEntry, SiteLog } from './log/entry.ts'
import type { Counter, GatewayEvent, GatewayPort, Health } from './port.ts'
import type { NormalFiles } from './normal-files.ts'
import { type OutlookKeeper, startOutlook } from './outlook-keeper.ts'
import { siteOfKey, type Reading } from './site/reading.ts'
import type { SiteFault } from './site/site-file.ts'
import type { VitalsKeeper } from './vitals-keeper.ts'
import { entryBlockOf, notMeasured } from './alarms/entry-block.ts'
import { createWakeKeeper } from './wake-keeper.ts'

export interface GatewayParts {
  readonly clock: Clock
  readonly current: Current
  readonly keeper: AlarmKeeper
  readonly vitals: Pick<VitalsKeeper, 'onReadings' | 'onEntry' | 'of' | 'tick'>
  readonly history: HistoryReader
  readonly log: SiteLog
  readonly normalFiles: NormalFiles
  readonly siteFaults: () => readonly SiteFault[]
  readonly intake: Pick<GatewayPort, 'traffic' | 'unassigned'> & { quarantineEntries(): ReturnType<GatewayPort['quarantine']> }
  readonly adopt: GatewayPort['adopt']
  /** What the health page adds up; asked on every request. */
  readonly rejected: () => Pick<Health, 'rejected' | 'rejects'>
  readonly brokers: () => Health['brokers']
  readonly counters: () => readonly Counter[]
  readonly troubles: () => readonly string[]
}

export interface GatewayCore {
  readonly port: GatewayPort
  /** Readings of one message, stored a moment ago. */
  onReadings(readings: readonly Reading[]): void
  /** Computed readings, stored a moment ago. */
  onComputed(readings: readonly Reading[]): void
  onHeard(site: string, atMs: number): void
  onAlarm(event: AlarmEvent, view: AlarmView): void
  /** Once a second: silence, delays that ran out. */
  tick(): void
  /** Waits for what is being read from the history. */
  stop(): Promise<void>
}

export function createGateway(parts: GatewayParts): GatewayCore {
  const { clock, current, keeper, vitals } = parts
  const startedMs = clock.nowMs()
  let listenerFaults = 0
  const listeners = new Set<(event: GatewayEvent) => void>()
  const tell = (event: GatewayEvent): void => {
    for (const listener of listeners) {
      // One that fails must not keep the others from their event, nor the reading from its alarm.
      try {
        listener(event)
      } catch {
        listenerFaults++
      }
    }
  }
  const log: SiteLog = {
    async add(entry: NewEntry, by: string): Promise<LogEntry> {
      const written = await parts.log.add(entry, by)
      vitals.onEntry(written)
      tell({ kind: 'log', entry: written })
      return written
    },
    list: (q) => parts.log.list(q),
  }

  const outlook: OutlookKeeper = startOutlook({
    clock,
    history: parts.history,
    log: parts.log,
    files: parts.normalFiles,
    sites: () => current.all(),
    site: (id) => current.site(id),
    gateway: { alarmsOf: (site) => keeper.alarmsOf(site), vitals: (site) => vitals.of(site), journal: (q) => keeper.journal(q) },
  })

  const wake = createWakeKeeper({
    clock,
    standing: () => keeper.standing(),
    alarmsOf: (site) => keeper.alarmsOf(site),
    site: (id) => current.site(id),
    vitals: (site) => vitals.of(site),
    loopSays: () => ({ onSite: null, asleep: null }),
    onVerdict: (view, note) => tell({ kind: 'wake', view, note }),
  })

  /** A gas alarm is let go only after a measurement that is written down. */
  async function reset(...[alarm, occurrence, by, note, version]: Parameters<GatewayPort['reset']>): ReturnType<GatewayPort['reset']> {
    const view = keeper.standing(siteOfKey(alarm)).find((v) => v.def.id === alarm && v.occurrence === occurrence)
    if (view?.state === 'latched-acknowledged') {
      const site = view.def.site
      const message = notMeasured(view, await parts.log.list({ site, fromMs: view.raisedMs ?? 0, toMs: clock.nowMs() + 1, limit: 1000 }))
      if (message !== null) return { ok: false, code: 'not-allowed', message }
    }
    return keeper.reset(alarm, occurrence, by, note, version)
  }

  const troubles = (): readonly string[] => [...parts.troubles(), ...keeper.troubles()]

  const port: GatewayPort = {
    history: parts.history,
    log,
    sites: () => current.all(),
    site: (id) => current.site(id),
    standing: (site) => keeper.standing(site),
    alarmsOf: (site) => keeper.alarmsOf(site),
    vitals: (site) => vitals.of(site),
    forecasts: (site) => outlook.forecasts(site),
    normals: (site) => outlook.normals(site),
    journal: (q) => keeper.journal(q),
    acknowledge: (alarm, occurrence, by, note, version) => keeper.acknowledge(alarm, occurrence, by, note, version),
    reset,
    wake: (alarm) => wake.of(alarm),
    entryBlock: (site) => entryBlockOf(keeper.alarmsOf(site)),
    health: (): Health => ({
      startedMs,
      nowMs: clock.nowMs(),
      troubles: troubles(),
      counters: [
        ...parts.counters(),
        ...keeper.counters(),
        ...outlook.counters(),
        { name: 'listenerFaults', value: listenerFaults, what: 'Events a listener failed on; a failure of ours.' },
      ],
      ...parts.rejected(),
      siteFaults: parts.siteFaults(),
      brokers: parts.brokers(),
    }),
    troubles,
    quarantine: () => parts.intake.quarantineEntries(),
    unassigned: () => parts.intake.unassigned(),
    traffic: () => parts.intake.traffic(),
    adopt: (site, signal) => parts.adopt(site, signal),
    subscribe(listener) {
      listeners.add(listener)
      return () => void listeners.delete(listener)
    },
  }

  return {
    port,
    onReadings(readings) {
      current.take(readings)
      keeper.onReadings(readings)
      vitals.onReadings(readings)
      if (listeners.size > 0 && readings.length > 0) tell({ kind: 'readings', readings })
    },
    onComputed(readings) {
      current.take(readings)
      if (listeners.size > 0 && readings.length > 0) tell({ kind: 'readings', readings })
    },
    onHeard(site, atMs) {
      current.heard(site, atMs)
    },
    onAlarm(event, view) {
      wake.onAlarm(event, view)
      tell({ kind: 'alarm', event, view })
    },
    tick() {
      const nowMs = clock.nowMs()
      for (const s of current.tick(nowMs)) tell({ kind: 'site', site: s.site.id, silent: s.silent, heardMs: s.heardMs })
      vitals.tick()
      outlook.tick()
      keeper.tick(nowMs, (site) => current.site(site)?.heardMs ?? null)
      wake.tick()
    },
    stop: () => outlook.stop(),
  }
}
