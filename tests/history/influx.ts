/** What the tests of forwarding share: one influxd, stores that forward to it, and the two compared reading by reading. */
import { createHash } from 'node:crypto'
import { expect, onTestFinished } from 'vitest'
import type { EmbeddedHistory } from '../../gateway/history/embedded.ts'
import type { Feed } from '../../gateway/history/feed.ts'
import { startForwarder, type Forwarder, type ForwarderOptions } from '../../gateway/history/forwarder.ts'
import type { HistoryReader } from '../../gateway/history/history.ts'
import { createInflux1Sender, type Influx1Address } from '../../gateway/history/influx-http.ts'
import { openInflux1 } from '../../gateway/history/influx1.ts'
import { realClock, until } from '../intake/parts.ts'

const BOUND = 2 ** 30

export interface Forwarding {
  readonly feed: Feed
  readonly forwarder: Forwarder
  counter(name: string): number
  stop(): Promise<void>
}

export function forwardTo(address: Influx1Address, store: EmbeddedHistory, more: Partial<ForwarderOptions> = {}, maxBacklogBytes = BOUND): Forwarding {
  const feed = store.feed({ name: `${address.url} ${address.database}`, maxBacklogBytes })
  const forwarder = startForwarder({
    feed,
    sender: createInflux1Sender(address),
    clock: realClock,
    idleMs: 5,
    pauseMs: 20,
    longestPauseMs: 200,
    backlogBound: maxBacklogBytes,
    ...more,
  })
  const stop = (): Promise<void> => forwarder.stop({ withinMs: 2_000 })
  onTestFinished(stop)
  return { feed, forwarder, stop, counter: (name) => forwarder.counters().find((c) => c.name === name)?.value ?? Number.NaN }
}

/** All that is committed is in InfluxDB. */
export const drained = (f: Forwarding): Promise<void> =>
  until('all is forwarded', () => f.feed.stats().backlogBytes === 0 && !f.feed.stats().catchingUpBlocks && f.forwarder.idle(), 60_000)

export function openRecord(address: Influx1Address): ReturnType<typeof openInflux1> {
  const record = openInflux1(address)
  onTestFinished(() => record.close())
  return record
}

/** Count and checksum over every field of every reading of a key. */
export async function sumOf(history: HistoryReader, key: string): Promise<string> {
  const all = await history.range(key, 0, 2 ** 45, Number.MAX_SAFE_INTEGER)
  const hash = createHash('sha256')
  for (const r of all) hash.update(`${r.sourceMs} ${r.receivedMs} ${r.value} ${r.quality} ${r.sub} ${r.qc}\n`)
  return `${all.length} ${hash.digest('hex')}`
}

export async function expectSame(store: HistoryReader, record: HistoryReader, keys: readonly string[]): Promise<void> {
  const [own, theirs] = [await Promise.all(keys.map((k) => sumOf(store, k))), await Promise.all(keys.map((k) => sumOf(record, k)))]
  expect(theirs).toEqual(own)
}
