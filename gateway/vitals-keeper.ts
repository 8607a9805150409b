/**
 * Vitals of all loops: readings that intake has stored go in, computed readings go to the history and, once stored there, are told like any other. They
 * wait in one bounded queue for the beat of a second; when it is full the oldest are dropped and counted, because they can be had again from
 * what they were computed from. One loop whose vitals fail goes without them and is named; the others go on.
 */
import type { History } from './history/history.ts'
import type { LogEntry } from './log/entry.ts'
import type { Counter } from './port.ts'
import { siteOfKey, type Reading } from './site/reading.ts'
import type { Site } from './site/site.ts'
import { createVitals, type Vitals } from './vitals/evaluator.ts'
import type { Explanation } from './vitals/vital.ts'
import type { VitalFiles } from './vitals-files.ts'

const MOST_WAITING = 50_000
/** Every loop is written down within so many seconds. */
const KEEP_WITHIN_S = 600

export interface VitalsKeeper {
  onReadings(readings: readonly Reading[]): void
  onEntry(entry: LogEntry): void
  of(site: string): readonly Explanation[]
  /** Since when the vitals of a loop remember (Vitals.sinceMs). */
  sinceMs(site: string): number | null
  /** Vitals that have taken all readings of the loop so far, and remember more, go on in the place of its own. */
  takeOver(site: string, vitals: Vitals): void
  /** Site files were read again: a changed loop goes on with what it remembered of the signals it still has. */
  follow(sites: ReadonlyMap<string, Site>): void
  /** Once a second. */
  tick(): void
  counters(): readonly Counter[]
  troubles(): readonly string[]
  /** Stores what waits and writes everything down. */
  stop(): Promise<void>
}

export interface VitalsParts {
  readonly sites: ReadonlyMap<string, Site>
  readonly files: VitalFiles
  readonly history: Pick<History, 'append'>
  /** Computed readings, stored a moment ago. */
  readonly emit: (readings: readonly Reading[]) => void
}

interface Loop {
  site: Site
  vitals: Vitals
  /** Counts of earlier vitals of this loop, less what these had counted when they took over. */
  late: number
  given: number
  failed: string | null
}

export function startVitals(parts: VitalsParts): VitalsKeeper {
  const loops = new Map<string, Loop>()
  let waiting: Reading[] = []
  let sending = false
  let sent: Promise<void> = Promise.resolve()
  let dropped = 0
  let refused = 0
  let notKept = 0
  let turn = 0

  const open = (site: Site, kept: ReturnType<Vitals['keep']> | null): Loop => ({ site, vitals: createVitals(site, kept), late: 0, given: 0, failed: null })
  for (const site of parts.sites.values()) loops.set(site.id, open(site, parts.files.read(site.id)))

  const failed = (loop: Loop, e: unknown): void => {
    loop.failed = e instanceof Error ? e.message : String(e)
  }
  const take = (loop: Loop, readings: readonly Reading[]): void => {
    if (loop.failed !== null) return
    try {
      waiting.push(...loop.vitals.take(readings))
    } catch (e) {
      failed(loop, e)
    }
  }
  const keepOne = (loop: Loop): void => {
    if (loop.failed === null && !parts.files.write(loop.site.id, loop.vitals.keep())) notKept++
  }
  const send = (): Promise<void> => {
    if (sending || waiting.length === 0) return sent
    const batch = waiting
    waiting = []
    sending = true
    sent = parts.history
      .append(batch)
      .then(
        () => parts.emit(batch),
        () => {
          refused++
          waiting = [...batch, ...waiting]
        },
      )
      .finally(() => {
        sending = false
      })
    return sent
  }
  const bound = (): void => {
    if (waiting.length <= MOST_WAITING) return
    // A tenth at once, or every message of a long outage would move the whole queue.
    const gone = waiting.length - 0.9 * MOST_WAITING
    dropped += gone
    waiting = waiting.slice(gone)
  }

  return {
    onReadings(readings) {
      // One message is of one loop, a group of messages of several: readings of a loop stand together.
      for (let i = 0; i < readings.length; ) {
        const site = siteOfKey(readings[i]?.key ?? '')
        let end = i + 1
        while (end < readings.length && readings[end]?.key.startsWith(`${site}/`)) end++
        const loop = loops.get(site)
        if (loop) take(loop, i === 0 && end === readings.length ? readings : readings.slice(i, end))
        i = end
      }
      bound()
    },
    onEntry(entry) {
      loops.get(entry.site)?.vitals.note(entry)
    },
    of: (site) => loops.get(site)?.vitals.explainAll() ?? [],
    sinceMs: (site) => loops.get(site)?.vitals.sinceMs() ?? null,
    takeOver(site, vitals) {
      const loop = loops.get(site)
      if (!loop) return
      for (const of of ['late', 'given'] as const) loop[of] += loop.vitals.counts[of] - vitals.counts[of]
      loop.vitals = vitals
      keepOne(loop)
    },
    follow(sites) {
      for (const id of loops.keys()) if (!sites.has(id)) loops.delete(id)
      for (const site of sites.values()) {
        const was = loops.get(site.id)
        if (!was) loops.set(site.id, open(site, parts.files.read(site.id)))
        else if (was.site !== site) loops.set(site.id, open(site, was.failed === null ? was.vitals.keep() : null))
      }
    },
    tick() {
      bound()
      void send()
      const all = [...loops.values()]
      const share = Math.ceil(all.length / KEEP_WITHIN_S)
      const every = Math.max(1, Math.floor(KEEP_WITHIN_S / Math.max(1, all.length)))
      turn++
      if (turn % every !== 0) return
      const from = (Math.floor(turn / every) * share) % Math.max(1, all.length)
      for (const loop of all.slice(from, from + share)) keepOne(loop)
    },
    counters: () => {
      const sum = (of: 'late' | 'given'): number => [...loops.values()].reduce((n, l) => n + l[of] + l.vitals.counts[of], 0)
      return [
        { name: 'vitalsGiven', value: sum('given'), what: 'Computed readings since start.' },
        { name: 'vitalsLate', value: sum('late'), what: 'Readings older than the newest of their signal: stored, but no vital is computed again for them.' },
        { name: 'vitalsWaiting', value: waiting.length, bound: MOST_WAITING, what: 'Computed readings that wait for the history; when full the oldest are dropped.' },
        { name: 'vitalsDropped', value: dropped, what: 'Computed readings dropped because the history took none for too long.' },
        { name: 'vitalsRefused', value: refused, what: 'Times the history did not take computed readings; they were offered again.' },
        { name: 'vitalsNotKept', value: notKept, what: 'Times the disk did not take what vitals remember.' },
      ]
    },
    troubles: () =>
      [...loops.values()].flatMap((l) => (l.failed === null ? [] : [`Vitals of ${l.site.id} have stopped: ${l.failed}. Its readings are stored and its alarms go on.`])),
    async stop() {
      await sent
      await send()
      for (const loop of loops.values()) keepOne(loop)
    },
  }
}
