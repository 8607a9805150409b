/** The record in InfluxDB as the settings describe it: who carries the lines, who forwards, and how both stores are read as one. */
import { readFileSync } from 'node:fs'
import type { Clock } from '../clock.ts'
import type { Counter } from '../port.ts'
import type { EmbeddedHistory } from './embedded.ts'
import { startForwarder } from './forwarder.ts'
import type { HistoryReader } from './history.ts'
import { createInflux1Sender } from './influx-http.ts'
import { openInflux1 } from './influx1.ts'
import { createInflux2Sender } from './influx2.ts'
import type { LineSender } from './line-sender.ts'
import { createMerged, type MergedHistory } from './merged.ts'
import { HistoryRefused } from './refused.ts'

export interface RecordSettings {
  readonly url: string
  /** 1.x; null: 2.x. */
  readonly database: string | null
  readonly user: string | null
  readonly passwordFile: string | null
  readonly caFile: string | null
  readonly tokenFile: string | null
  readonly org: string | null
  readonly bucket: string | null
}

export interface HistoryRecord {
  readonly reader: HistoryReader
  /** Nothing is still to be sent from the sealed blocks. What waits in the inbox is kept there, whatever is forgotten. */
  fed(): boolean
  troubles(): readonly string[]
  counters(): readonly Counter[]
  stop(): Promise<void>
}

/** A day of 2,000 normal loops is about 0.8 GB. */
const BACKLOG_BYTES = 4 * 2 ** 30
const STOP_MS = 3_000

export function openRecord(settings: RecordSettings, embedded: EmbeddedHistory, clock: Clock): HistoryRecord {
  const { url, database } = settings
  const secret = (file: string | null, flag: string): string | null => (file === null ? null : (readSecret(file, flag).split('\n')[0] ?? '').trim())
  let sender: LineSender
  let older: ReturnType<typeof openInflux1> | null = null
  if (database !== null) {
    const ca = settings.caFile === null ? null : readSecret(settings.caFile, '--influx-ca-file')
    const address = { url, database, user: settings.user, password: secret(settings.passwordFile, '--influx-password-file'), ca }
    sender = createInflux1Sender(address)
    older = openInflux1(address)
  } else {
    sender = createInflux2Sender({ url, token: secret(settings.tokenFile, '--influx-token-file') ?? '', org: settings.org ?? '', bucket: settings.bucket ?? '' })
  }
  const feed = embedded.feed({ name: database === null ? `${url} ${settings.org}/${settings.bucket}` : `${url} ${database}`, maxBacklogBytes: BACKLOG_BYTES })
  const forwarder = startForwarder({ feed, sender, clock, backlogBound: BACKLOG_BYTES })
  const drained = (): boolean => {
    const s = feed.stats()
    return s.backlogBytes === 0 && !s.catchingUpBlocks && s.parked === 0
  }
  const merged: MergedHistory | null = older && createMerged({ embedded, record: older, clock, drained })
  return {
    reader: merged ?? embedded,
    fed: () => !feed.stats().catchingUpBlocks,
    troubles: () => [forwarder.trouble(), merged?.trouble() ?? null].filter((t) => t !== null),
    counters: () => forwarder.counters(),
    async stop() {
      await forwarder.stop({ withinMs: STOP_MS })
      await older?.close()
    },
  }
}

function readSecret(file: string, flag: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch (e) {
    throw new HistoryRefused('FOLDER', `${flag} ${file} cannot be read: ${e instanceof Error ? e.message : String(e)}`, e)
  }
}
