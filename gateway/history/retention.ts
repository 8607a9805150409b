/**
 * What is forgotten, and when: readings older than an age, and the oldest ones when the history takes more room than it may, but never
 * any younger than a floor. Age works by whole days, so that blocks are cut once a day and not with every look; size works day by day
 * from the oldest until it fits. What the record in InfluxDB still has to get from the sealed blocks is not forgotten before.
 */
import type { Clock } from '../clock.ts'
import type { Counter } from '../port.ts'
import type { EmbeddedHistory } from './embedded.ts'

export interface RetentionSettings {
  /** Readings older than this are forgotten; null: none for their age. */
  readonly keepDays: number | null
  /** Room the history may take; null: all there is. */
  readonly keepBytes: number | null
  /** Readings younger than this are never forgotten. */
  readonly keepAtLeastDays: number
}

export interface RetentionParts {
  readonly settings: RetentionSettings
  readonly history: Pick<EmbeddedHistory, 'forgetBefore' | 'oldestMs' | 'usedBytes'>
  readonly clock: Clock
  /** Everything sealed is in the record, or there is no record. */
  readonly fed: () => boolean
}

export interface Retention {
  /** Looks, and forgets what is to be forgotten; one look at a time. Never rejects. */
  look(): Promise<void>
  /** What a person should know now, or null. */
  trouble(): string | null
  counters(): readonly Counter[]
}

const DAY_MS = 86_400_000
/** Forgetting for size goes on until so much of the room is used: otherwise it would begin again with every reading. */
const ENOUGH = 0.95
/** Days forgotten in one look at most. */
const STEPS = 60

export function createRetention(parts: RetentionParts): Retention {
  const { settings, history, clock, fed } = parts
  let looking: Promise<void> | null = null
  let agedBeforeMs = 0
  let forgotten = 0
  let said: string | null = null

  async function forget(beforeMs: number): Promise<void> {
    forgotten += await history.forgetBefore(beforeMs)
  }

  async function run(): Promise<string | null> {
    const nowMs = clock.nowMs()
    const floorMs = nowMs - settings.keepAtLeastDays * DAY_MS
    const over = (): boolean => settings.keepBytes !== null && history.usedBytes() > settings.keepBytes
    const aged = settings.keepDays === null ? 0 : dayOf(Math.min(floorMs, nowMs - settings.keepDays * DAY_MS))
    if (aged <= agedBeforeMs && !over()) return null
    if (!fed()) return over() ? `${sizeText(history.usedBytes(), settings)}: nothing is forgotten before InfluxDB has what is sealed` : null
    if (aged > agedBeforeMs) {
      await forget(aged)
      agedBeforeMs = aged
    }
    if (settings.keepBytes === null || !over()) return null
    for (let step = 0; step < STEPS && history.usedBytes() > ENOUGH * settings.keepBytes; step++) {
      const oldestMs = await history.oldestMs()
      if (oldestMs === null || oldestMs >= floorMs) break
      await forget(Math.min(floorMs, dayOf(oldestMs) + DAY_MS))
    }
    if (!over()) return null
    const oldestMs = await history.oldestMs()
    if (oldestMs !== null && oldestMs < floorMs) return null
    return `${sizeText(history.usedBytes(), settings)}, and readings of the last ${settings.keepAtLeastDays} days are never forgotten: give it more room with --keep-gb, or lower --keep-at-least-days`
  }

  return {
    look() {
      looking ??= run()
        .then(
          (trouble) => void (said = trouble),
          (e: unknown) => void (said = `Old readings could not be forgotten: ${e instanceof Error ? e.message : String(e)}`),
        )
        .finally(() => (looking = null))
      return looking
    },
    trouble: () => said,
    counters: () => [
      {
        name: 'historyUsedBytes',
        value: history.usedBytes(),
        ...(settings.keepBytes !== null && { bound: settings.keepBytes }),
        what: 'Room the readings take in the history file. At the bound the oldest are forgotten, down to the days that are always kept.',
      },
      { name: 'historyForgotten', value: forgotten, what: 'Readings forgotten for their age or for room since the start.' },
    ],
  }
}

const dayOf = (ms: number): number => Math.floor(ms / DAY_MS) * DAY_MS
const gb = (bytes: number): string => (bytes / 1e9).toPrecision(3)
const sizeText = (used: number, s: RetentionSettings): string => `The history takes ${gb(used)} GB of the ${gb(s.keepBytes ?? 0)} GB it may`
