/**
 * The parts of the gateway, built from the settings in the order a reading meets them: intake, history, current values, alarm
 * keeper, port. No broker and no timer: whoever holds the parts hands messages in and lets time pass.
 */
import { basename, join } from 'node:path'
import { createAlarmChanges, loadLayers } from './alarm-changes.ts'
import { checkStates, type StateCheck } from './alarms/journal-check.ts'
import { openJournal } from './alarms/journal.ts'
import { startAlarmKeeper } from './alarms/keeper.ts'
import { signalsOfRule } from './alarms/rule-signals.ts'
import { openChangeStore } from './change-store.ts'
import type { Clock } from './clock.ts'
import type { Config } from './config.ts'
import { createCurrent } from './current.ts'
import { createDefinitionCheck } from './definition-check.ts'
import { openDatabase } from './database.ts'
import { createGateway, type GatewayCore } from './gateway.ts'
import { openEmbedded, type EmbeddedHistory } from './history/embedded.ts'
import { withoutImported } from './history/imported.ts'
import { openRecord } from './history/record.ts'
import { createRetention, type RetentionSettings } from './history/retention.ts'
import { createIntake, type Intake } from './intake/intake.ts'
import { keepMonths, resumeMonths } from './intake/month-file.ts'
import { openLearnedFiles } from './learned-files.ts'
import { openSiteLog } from './log/site-log.ts'
import { openLoopStateStore } from './loop-state-store.ts'
import type { Counter, CredentialsPort, Health } from './port.ts'
import { keyOf } from './site/reading.ts'
import { adoptInto } from './site-adopt.ts'
import { openSiteFiles } from './site-files.ts'
import { createSiteWatch } from './site-watch.ts'
import type { SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'
import { openNormalFiles } from './normal-files.ts'
import { openVitalFiles } from './vitals-files.ts'
import { startVitals } from './vitals-keeper.ts'
import { startVitalsPast } from './vitals-past.ts'
import { openPastFiles } from './vitals-past-files.ts'

/** What only the brokers and the process know, for the health page. */
export interface Around {
  readonly brokers: () => Health['brokers']
  readonly counters: () => readonly Counter[]
  readonly troubles: () => readonly string[]
  /** Absent: no own broker runs. */
  readonly credentials?: CredentialsPort
}

export interface Parts {
  /** As they are at the start. */
  readonly sites: ReadonlyMap<string, Site>
  readonly intake: Intake
  readonly history: EmbeddedHistory
  /** Opens the door; messages taken before it are stored but told to nobody. */
  start(around: Around): GatewayCore
  /** Looks whether site files have changed, and follows them; true: they have. Every few seconds; once a minute it also writes down what sites have sent. */
  followSites(): boolean
  /** Forgets what the settings say is to be forgotten. About once a minute; never rejects. */
  lookAfterHistory(): Promise<void>
  stop(): Promise<void>
}

const DEMO_FILES = 'The site files of the demo fleet are part of the program: start with --fleet none and site files of your own to '
const NO_BROKER: CredentialsPort = {
  locked: 'No own broker runs here: start the gateway as a whole.',
  outside: [],
  list: () => [],
  replace: async (site) => Promise.reject(new Error(`no own broker runs that could know ${site}`)),
  withdraw: () => false,
}
const MONTHS_EVERY_MS = 60_000
const KEEP_ALL: RetentionSettings = { keepDays: null, keepBytes: null, keepAtLeastDays: 1 }
/** Younger than this on arrival, a stored reading came from a clock that was right. */
const FRESH_MS = 2 * 60_000
/** Entries vitals are told of at the start. */
const LOG_BACK_MS = 60 * 86_400_000
const LOG_MOST = 20_000

/** Builds the parts on `config.dataDir`, which must exist. Throws HistoryRefused when the history cannot be opened. */
export async function compose(
  config: Pick<Config, 'dataDir' | 'synchronous' | 'prefix'> & Partial<Pick<Config, 'influx' | 'retention' | 'fleet'>>,
  clock: Clock,
  siteDir: string,
): Promise<Parts> {
  const watch = createSiteWatch(siteDir)
  const sites = watch.sites()
  const database = await openDatabase(join(config.dataDir, 'state.db'))
  const history = openEmbedded({ dir: config.dataDir, clock, synchronous: config.synchronous })
  const record = config.influx ? openRecord(config.influx, history, clock) : null
  const retention = createRetention({ settings: config.retention ?? KEEP_ALL, history, clock, fed: () => record?.fed() ?? true })
  const journal = await openJournal(database)
  let core: GatewayCore | null = null
  const changeStore = openChangeStore(database)
  const layers = await loadLayers(changeStore)
  const changes = createAlarmChanges({
    store: changeStore,
    clock,
    sites: () => watch.sites(),
    layers,
    keeper: () => keeper,
    raisedUnder: (alarm, occurrence) => journal.raisedUnder(alarm, occurrence),
    onDefined: (ids) => core?.onDefined(ids),
    alarmFault: watch.alarmFault,
  })
  const defs = [...sites.values()].flatMap((s) => changes.definitions(s).defs)
  // Besides the measured signals the vitals that rules read: a gate knows its value again at once.
  const read = defs.flatMap((def) => signalsOfRule(def.rule).map((id) => keyOf(def.site, id)))
  const keys = [...new Set([...[...sites.values()].flatMap((s) => s.signals.map((x) => keyOf(s.id, x.id))), ...read])]
  const stored = await history.latest(keys)
  const current = createCurrent(sites, stored)
  const keeper = await startAlarmKeeper({
    sites,
    defs,
    learned: openLearnedFiles(join(config.dataDir, 'learned')),
    journal,
    clock,
    ...withoutImported(history, stored),
    emit: (event, view) => core?.onAlarm(event, view),
  })
  const vitalsDir = join(config.dataDir, 'vitals')
  const vitals = startVitals({ sites, files: openVitalFiles(vitalsDir), history, emit: (readings) => core?.onComputed(readings) })
  let stopping = false
  let compareStates: StateCheck = { checked: null, mended: [], failed: null }
  const checking = checkStates({
    journal,
    mend: (alarm, life) => keeper.mend(alarm, life),
    breathe: () => new Promise((next) => setTimeout(next, 10)),
    stopped: () => stopping,
  }).then((done) => (compareStates = done))
  const compared = createDefinitionCheck({
    clock,
    sites: () => watch.sites().keys(),
    read: (id) => watch.read(id),
    layers: () => loadLayers(changeStore),
    live: (id) => keeper.defsOf(id),
  })
  const log = openSiteLog(database, clock)
  const past = startVitalsPast({ sites, clock, files: openPastFiles(vitalsDir), history, log, live: vitals })
  const stateStore = await openLoopStateStore(database)
  const states = { store: stateStore, records: await stateStore.all() }
  // Kit values hold for 30 days, a week's balance needs its blowdowns; corrections come after what they correct.
  for (const entry of (await log.list({ fromMs: clock.nowMs() - LOG_BACK_MS, toMs: clock.nowMs() + 1, limit: LOG_MOST })).toReversed()) {
    vitals.onEntry(entry)
    keeper.attended(entry.site, entry.recordedMs)
  }
  const intake = createIntake({
    sites: () => watch.sites(),
    history,
    clock,
    prefix: config.prefix,
    onReadings: (readings) => core?.onReadings(readings),
    onHeard: (site, atMs) => core?.onHeard(site, atMs),
    seed: (key) => {
      const r = stored.get(key)
      // A reading whose stamp was its own and fresh says that the clock was right when it came.
      const right = r !== undefined && r.sub !== 'clock_suspect' && r.sourceMs !== r.receivedMs && Math.abs(r.receivedMs - r.sourceMs) < FRESH_MS
      return r && { newestMs: r.sourceMs, ...(right && { rightMs: r.receivedMs }) }
    },
  })
  const months = join(config.dataDir, 'traffic.json')
  resumeMonths(months, intake)
  let monthsKeptMs = clock.steadyMs()

  return {
    sites,
    intake,
    history,
    start(around) {
      core = createGateway({
        clock,
        current,
        keeper,
        changes,
        vitals: {
          of: (site) => vitals.of(site),
          onReadings(readings) {
            vitals.onReadings(readings)
            past.onReadings(readings)
          },
          onEntry(entry) {
            vitals.onEntry(entry)
            past.onEntry(entry)
          },
          tick() {
            vitals.tick()
            past.tick()
          },
        },
        history: record?.reader ?? history,
        log,
        states,
        suppress: (alarm, by, atMs) => void keeper.suppress(alarm, by, atMs),
        normalFiles: openNormalFiles(join(config.dataDir, 'normal')),
        siteFaults: () => [...watch.faults(), ...changes.faults()],
        intake,
        adopt(site, signal) {
          if (config.fleet === 'demo') return { ok: false, message: `${DEMO_FILES}take signals in.` }
          const result = adoptInto(siteDir, site, signal)
          return result.ok ? { ...result, file: basename(result.file) } : result
        },
        siteFiles: openSiteFiles({
          dir: siteDir,
          locked: config.fleet === 'demo' ? `${DEMO_FILES}change them.` : null,
          layers: () => layers,
          readable: () => watch.readable(),
          nowMs: () => clock.nowMs(),
        }),
        credentials: around.credentials ?? NO_BROKER,
        rejected: () => intake.quarantine(),
        brokers: around.brokers,
        counters: () => [
          ...intake.counters(),
          ...around.counters(),
          ...stateCounters(compareStates),
          ...compared.counters(),
          ...vitals.counters(),
          ...past.counters(),
          ...history.counters(),
          ...retention.counters(),
          ...(record?.counters() ?? []),
        ],
        troubles: () => [
          ...unusedFiles(watch.faults()),
          ...untakenChanges(changes.faults()),
          ...intake.troubles(),
          ...vitals.troubles(),
          ...past.troubles(),
          ...changes.troubles(),
          ...compared.troubles(),
          ...unlikeJournal(compareStates),
          ...[history.trouble(), retention.trouble()].filter((t) => t !== null),
          ...(record?.troubles() ?? []),
          ...around.troubles(),
        ],
      })
      return core
    },
    followSites() {
      void compared.tick()
      if (clock.steadyMs() - monthsKeptMs > MONTHS_EVERY_MS) {
        monthsKeptMs = clock.steadyMs()
        keepMonths(months, intake)
      }
      if (!watch.poll()) {
        void changes.followSites(watch.sites())
        return false
      }
      current.follow(watch.sites())
      vitals.follow(watch.sites())
      past.follow(watch.sites())
      void changes.followSites(watch.sites())
      return true
    },
    lookAfterHistory: () => retention.look(),
    async stop() {
      stopping = true
      intake.flush()
      keepMonths(months, intake)
      await core?.stop()
      await past.stop()
      await vitals.stop()
      await keeper.stop()
      await checking
      await record?.stop()
      await history.close()
      await database.destroy()
    },
  }
}

/** One sentence for files that cannot be used as they stand now. */
function unusedFiles(faults: readonly SiteFault[]): readonly string[] {
  const files = [...new Set(faults.map((f) => f.file))]
  if (files.length === 0) return []
  return [
    `${files.length === 1 ? 'A site file' : `${files.length} site files`} cannot be used: ${files.join(', ')}. A loop that was running goes on by its last good file; any other is not watched.`,
  ]
}

/** One sentence for changes of alarms that are not in force, and for defaults that cannot be told by what a loop sends. */
function untakenChanges(faults: readonly SiteFault[]): readonly string[] {
  if (faults.length === 0) return []
  const files = [...new Set(faults.map((f) => f.file))]
  return [
    `${faults.length === 1 ? 'An alarm' : `${faults.length} alarms`} of ${files.join(', ')} ${faults.length === 1 ? 'is' : 'are'} not as wanted: a change was not taken and the default is in force instead, or a default needs more readings than the loop sends. The list below says which and why.`,
  ]
}

/** States of alarms that were not what the journal says. */
function unlikeJournal({ mended, failed }: StateCheck): readonly string[] {
  const names = `${mended.slice(0, 5).join(', ')}${mended.length > 5 ? ' and more' : ''}`
  return [
    ...(mended.length > 0
      ? [
          `${mended.length === 1 ? 'The stored state of an alarm was' : `The stored states of ${mended.length} alarms were`} not what the journal says (${names}): it has been rebuilt from the journal. Look whether the disk of the data folder is sound, and at what was told since the start.`,
        ]
      : []),
    ...(failed === null ? [] : [`The stored states of alarms could not be compared with the journal: ${failed}.`]),
  ]
}

const stateCounters = ({ checked, mended }: StateCheck): readonly Counter[] => [
  {
    name: 'alarmStatesChecked',
    value: checked ?? 0,
    what:
      checked === null
        ? 'Alarms whose stored state was compared with the journal since the start: not done yet.'
        : `Alarms whose stored state was compared with the journal since the start: ${mended.length === 0 ? 'all equal' : `${mended.length} were not equal and have been rebuilt`}.`,
  },
]
