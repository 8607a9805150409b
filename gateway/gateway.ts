/**
 * The gateway behind its port: a reading comes from intake (already on disk), becomes the current value, goes past the
 * alarm rules, and is told to whoever listens. One direction; nothing here waits for a listener.
 */
import type { AlarmEvent, AlarmView } from './alarms/alarm.ts'
import type { AlarmKeeper } from './alarms/keeper.ts'
import type { Clock } from './clock.ts'
import type { Current } from './current.ts'
import { type DueKeeper, startDue } from './due-keeper.ts'
import type { Intake } from './intake/intake.ts'
import { startLinkFacts } from './link-facts.ts'
import type { HistoryReader } from './history/history.ts'
import type { LogEntry, NewEntry, SiteLog } from './log/entry.ts'
import { startLoopKeeper } from './loop-keeper.ts'
import type { LoopStateStore } from './loop-state-store.ts'
import type { StateRecord } from './alarms/loop-state.ts'
import type { Suppress } from './loop-suppression.ts'
import type { ChangesPort, Counter, GatewayEvent, GatewayPort, Health } from './port.ts'
import type { NormalFiles } from './normal-files.ts'
import { type OutlookKeeper, startOutlook } from './outlook-keeper.ts'
import { siteOfKey, type Reading } from './site/reading.ts'
import type { SiteFault } from './site/site-file.ts'
import type { VitalsKeeper } from './vitals-keeper.ts'
import { entryBlockOf, notMeasured } from './alarms/entry-block.ts'
import { effectOf } from './alarms/loop-effect.ts'
import { createWakeKeeper } from './wake-keeper.ts'

export interface GatewayParts {
  readonly clock: Clock
  readonly current: Current
  readonly keeper: AlarmKeeper
  readonly changes: ChangesPort
  readonly vitals: Pick<VitalsKeeper, 'onReadings' | 'onEntry' | 'of' | 'tick'>
  readonly history: HistoryReader
  readonly log: SiteLog
  readonly normalFiles: NormalFiles
  /** Records of loop states, and all there were at the start. */
  readonly states: { readonly store: LoopStateStore; readonly records: readonly StateRecord[] }
  readonly suppress: Suppress
  readonly siteFaults: () => readonly SiteFault[]
  readonly intake: Pick<GatewayPort, 'traffic' | 'unassigned'> & Pick<Intake, 'links'> & { quarantineEntries(): ReturnType<GatewayPort['quarantine']> }
  readonly adopt: GatewayPort['adopt']
  readonly siteFiles: GatewayPort['siteFiles']
  readonly credentials: GatewayPort['credentials']
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
  /** Alarms of these sites have been defined anew. */
  onDefined(sites: Iterable<string>): void
  /** Once a second: silence, delays that ran out. */
  tick(): void
  /** Waits for what is being read from the history. */
  stop(): Promise<void>
}

/** Changes of an alarm that the due list tells of. */
const DUE_KINDS: ReadonlySet<AlarmEvent['kind']> = new Set(['out-of-service', 'in-service', 'review-overdue'] as const)

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
  const write = async (entry: NewEntry, by: string): Promise<LogEntry> => {
    const written = await parts.log.add(entry, by)
    vitals.onEntry(written)
    // Another instrument, or another calibration: the old normal is not its own.
    if ((written.kind === 'calibration' || written.kind === 'replacement') && written.about !== undefined) keeper.forget(written.site, written.about)
    keeper.attended(written.site, written.recordedMs)
    due.onEntry(written.site)
    tell({ kind: 'log', entry: written })
    return written
  }
  const log: SiteLog = {
    async add(entry: NewEntry, by: string): Promise<LogEntry> {
      const written = await write(entry, by)
      // A visit that is written into the log is a check-in or a check-out like one said on the loop page.
      if (written.kind === 'visit-in' || written.kind === 'visit-out') await states.onEntry(written)
      return written
    },
    list: (q) => parts.log.list(q),
  }

  const states = startLoopKeeper({
    clock,
    ...parts.states,
    history: parts.history,
    sites: () => current.all(),
    site: (id) => current.site(id),
    alarms: keeper,
    suppress: parts.suppress,
    write,
    changed(site) {
      outlook.forget(site)
      wake.onLoop(site)
      tell({ kind: 'state', site })
    },
  })

  const outlook: OutlookKeeper = startOutlook({
    clock,
    history: parts.history,
    log: parts.log,
    files: parts.normalFiles,
    states: (site) => states.spans(site),
    sites: () => current.all(),
    site: (id) => current.site(id),
    gateway: { alarmsOf: (site) => keeper.alarmsOf(site), vitals: (site) => vitals.of(site), journal: (q) => keeper.journal(q) },
  })

  const due: DueKeeper = startDue({
    clock,
    log: parts.log,
    sites: () => current.all(),
    site: (id) => current.site(id),
    gateway: {
      alarmsOf: (site) => keeper.alarmsOf(site),
      vitals: (site) => vitals.of(site),
      forecasts: (site) => outlook.forecasts(site),
      normals: (site) => outlook.normals(site),
    },
  })

  const wake = createWakeKeeper({
    clock,
    standing: () => keeper.standing(),
    alarmsOf: (site) => keeper.alarmsOf(site),
    site: (id) => current.site(id),
    vitals: (site) => vitals.of(site),
    loopSays(site) {
      const state = states.of(site)?.now
      const held = state && effectOf({ class: 'process', rule: { kind: 'silent', afterMs: 0 } }, state, clock.nowMs())
      return { onSite: held?.onlyTo?.join(' and ') ?? null, asleep: held && !held.wake ? 'the state of the loop lets nobody be woken' : null }
    },
    onVerdict: (view, note) => tell({ kind: 'wake', view, note }),
  })

  const linkFacts = startLinkFacts({ clock, alarms: keeper, links: () => parts.intake.links() })

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

  const troubles = (): readonly string[] => [...parts.troubles(), ...keeper.troubles(), ...states.troubles()]

  const port: GatewayPort = {
    history: parts.history,
    log,
    sites: () => current.all(),
    site: (id) => current.site(id),
    standing: (site) => keeper.standing(site),
    setAside: (site) => keeper.setAside(site),
    floods: () => keeper.floods(),
    alarmsOf: (site) => keeper.alarmsOf(site),
    loopState: (site) => states.of(site),
    stateDesk: states,
    vitals: (site) => vitals.of(site),
    forecasts: (site) => outlook.forecasts(site),
    normals: (site) => outlook.normals(site),
    due: (site) => due.due(site),
    dueEverywhere: () => due.everywhere(),
    journal: (q) => keeper.journal(q),
    changes: parts.changes,
    siteFiles: parts.siteFiles,
    credentials: parts.credentials,
    acknowledge: (alarm, occurrence, by, note, version) => keeper.acknowledge(alarm, occurrence, by, note, version),
    reset,
    shelve: (alarm, shelf, by, version) => keeper.shelve(alarm, shelf, by, version),
    unshelve: (alarm, by, version) => keeper.unshelve(alarm, by, version),
    outOfService: (alarm, request, by, version) => keeper.outOfService(alarm, request, by, version),
    inService: (alarm, by, version) => keeper.inService(alarm, by, version),
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
        ...states.counters(),
        ...due.counters(),
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
      states.onReadings(readings)
      vitals.onReadings(readings)
      if (listeners.size > 0 && readings.length > 0) tell({ kind: 'readings', readings })
    },
    onComputed(readings) {
      current.take(readings)
      keeper.onReadings(readings)
      if (listeners.size > 0 && readings.length > 0) tell({ kind: 'readings', readings })
    },
    onHeard(site, atMs) {
      current.heard(site, atMs)
    },
    onDefined(sites) {
      for (const site of sites) tell({ kind: 'defined', site })
    },
    onAlarm(event, view) {
      wake.onAlarm(event, view)
      if (DUE_KINDS.has(event.kind)) due.onEntry(view.def.site)
      tell({ kind: 'alarm', event, view })
    },
    tick() {
      const nowMs = clock.nowMs()
      for (const s of current.tick(nowMs)) tell({ kind: 'site', site: s.site.id, silent: s.silent, heardMs: s.heardMs })
      vitals.tick()
      outlook.tick()
      states.tick()
      due.tick()
      linkFacts.tick()
      keeper.tick(nowMs, (site) => current.site(site)?.heardMs ?? null)
      wake.tick()
    },
    async stop() {
      await states.stop()
      due.stop()
      await outlook.stop()
    },
  }
}
