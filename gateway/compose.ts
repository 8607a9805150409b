/**
 * The parts of the gateway, built from the settings in the order a reading meets them: intake, history, current values, alarm
 * keeper, port. No broker and no timer: whoever holds the parts hands messages in and lets time pass.
 */
import { join } from 'node:path'
import { defaultAlarms } from './alarms/defaults.ts'
import { openJournal } from './alarms/journal.ts'
import { startAlarmKeeper } from './alarms/keeper.ts'
import type { Clock } from './clock.ts'
import type { Config } from './config.ts'
import { createCurrent } from './current.ts'
import { openDatabase } from './database.ts'
import { createGateway, type GatewayCore } from './gateway.ts'
import { openEmbedded, type EmbeddedHistory } from './history/embedded.ts'
import { openRecord } from './history/record.ts'
import { createIntake, type Intake } from './intake/intake.ts'
import { openSiteLog } from './log/site-log.ts'
import type { Counter, Health } from './port.ts'
import { keyOf } from './site/reading.ts'
import { readSiteFolder } from './site-folder.ts'
import type { SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

/** What only the brokers and the process know, for the health page. */
export interface Around {
  readonly brokers: () => Health['brokers']
  readonly counters: () => readonly Counter[]
  readonly troubles: () => readonly string[]
}

export interface Parts {
  readonly sites: ReadonlyMap<string, Site>
  readonly intake: Intake
  readonly history: EmbeddedHistory
  /** Opens the door; messages taken before it are stored but told to nobody. */
  start(around: Around): GatewayCore
  stop(): Promise<void>
}

/** Builds the parts on `config.dataDir`, which must exist. Throws HistoryRefused when the history cannot be opened. */
export async function compose(config: Pick<Config, 'dataDir' | 'synchronous' | 'prefix'> & Partial<Pick<Config, 'influx'>>, clock: Clock, siteDir: string): Promise<Parts> {
  const folder = readSiteFolder(siteDir)
  const sites = folder.sites
  const definitions = [...sites.values()].map((s) => ({ site: s, ...defaultAlarms(s) }))
  const siteFaults = [
    ...folder.faults,
    ...definitions.flatMap((d) => d.faults.map((message) => ({ file: folder.fileOf.get(d.site.id) ?? d.site.id, line: 1, field: 'alarms', message }))),
  ]

  const database = await openDatabase(join(config.dataDir, 'state.db'))
  const history = openEmbedded({ dir: config.dataDir, clock, synchronous: config.synchronous })
  const record = config.influx ? openRecord(config.influx, history, clock) : null
  const keys = [...sites.values()].flatMap((s) => s.signals.map((x) => keyOf(s.id, x.id)))
  const stored = await history.latest(keys)
  const current = createCurrent(sites, stored)
  const journal = await openJournal(database)
  let core: GatewayCore | null = null
  const keeper = await startAlarmKeeper({
    sites,
    defs: definitions.flatMap((d) => d.defs),
    journal,
    clock,
    latest: stored,
    history,
    emit: (event, view) => core?.onAlarm(event, view),
  })
  const intake = createIntake({
    sites: () => sites,
    history,
    clock,
    prefix: config.prefix,
    onReadings: (readings) => core?.onReadings(readings),
    onHeard: (site, atMs) => core?.onHeard(site, atMs),
    seed: (key) => stored.get(key)?.sourceMs,
  })

  return {
    sites,
    intake,
    history,
    start(around) {
      core = createGateway({
        clock,
        current,
        keeper,
        history: record?.reader ?? history,
        log: openSiteLog(database, clock),
        siteFaults,
        rejected: () => intake.quarantine(),
        brokers: around.brokers,
        counters: () => [...intake.counters(), ...around.counters(), ...history.counters(), ...(record?.counters() ?? [])],
        troubles: () => [
          ...unusedFiles(folder.faults),
          ...intake.troubles(),
          ...[history.trouble()].filter((t) => t !== null),
          ...(record?.troubles() ?? []),
          ...around.troubles(),
        ],
      })
      return core
    },
    async stop() {
      await keeper.stop()
      await record?.stop()
      await history.close()
      await database.destroy()
    },
  }
}

/** One sentence for files that gave no loop: what they describe is not watched. */
function unusedFiles(faults: readonly SiteFault[]): readonly string[] {
  const files = [...new Set(faults.map((f) => f.file))]
  return files.length === 0
    ? []
    : [`${files.length === 1 ? 'A site file' : `${files.length} site files`} cannot be used, so what they describe is not watched: ${files.join(', ')}.`]
}
