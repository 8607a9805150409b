/**
 * The one door through which the server sees the gateway: subscribe, current state, act on an alarm, read history.
 * Everything in it is plain data, so that the two can run as two processes later without touching either side.
 */
import type { ActionResult, AlarmEvent, AlarmView } from './alarms/alarm.ts'
import type { HistoryReader } from './history/history.ts'
import type { LogEntry, SiteLog } from './log/entry.ts'
import type { Expected } from './outlook/expected.ts'
import type { Normal } from './outlook/normal.ts'
import type { Forecast, MonthUse } from './site/data-plan.ts'
import type { ForeignPlace } from './site/foreign.ts'
import type { Guess } from './site/guess.ts'
import type { Adopted } from './site/adopt.ts'
import type { Reading } from './site/reading.ts'
import type { SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'
import type { Explanation } from './vitals/vital.ts'
import type { EntryBlock } from './alarms/entry-block.ts'
import type { WakeNote } from './alarms/wake.ts'

export interface SiteState {
  readonly site: Site
  /** When we last received anything from it, our clock; null: never since the store began. */
  readonly heardMs: number | null
  /** Silent: nothing for three reports + 10 s. */
  readonly silent: boolean
  /** Newest reading per signal id. */
  readonly latest: ReadonlyMap<string, Reading>
}

export interface Counter {
  readonly name: string
  readonly value: number
  /** What it counts, one sentence; a queue says its bound and what happens when it is full. */
  readonly what: string
  readonly bound?: number
}

export interface Health {
  readonly startedMs: number
  readonly nowMs: number
  /** Sentences about what is wrong with the product itself, worst first; empty: all well. */
  readonly troubles: readonly string[]
  readonly counters: readonly Counter[]
  /** Rejected messages by reason code. */
  readonly rejected: Readonly<Record<string, number>>
  /** Newest examples of rejected messages: reason, topic, size, time. Payloads are not shown. */
  readonly rejects: readonly { readonly code: string; readonly topic: string; readonly bytes: number; readonly atMs: number; readonly detail: string }[]
  readonly siteFaults: readonly SiteFault[]
  readonly brokers: readonly { readonly name: string; readonly state: 'listening' | 'connected' | 'connecting' | 'down'; readonly detail: string }[]
}

/** A kind of refusal: reason, topic, how often. Payloads are not kept. */
export interface QuarantineEntry {
  readonly code: string
  /** Topic with what varies within it as `+`. */
  readonly pattern: string
  /** Newest example. */
  readonly topic: string
  readonly detail: string
  readonly bytes: number
  readonly count: number
  readonly firstMs: number
  readonly lastMs: number
}

/** A signal that a known site sends and its site file does not hold. */
export interface UnassignedSignal {
  readonly site: string
  readonly signal: string
  readonly count: number
  readonly firstMs: number
  readonly lastMs: number
  /** Last figure; null: none. */
  readonly lastValue: number | null
  /** Mean rate since first seen; null while seen once. */
  readonly perMin: number | null
  readonly guess: Guess | null
  /** Where it stands in messages outside our form, and `signal` is then only a proposal; null: sent under this name. */
  readonly from: ForeignPlace | null
}

export type AdoptionResult =
  | {
      readonly ok: true
      /** Name of the site file, and where the signal stands in it, counted from 1. */
      readonly file: string
      readonly line: number
      readonly written: string
    }
  | { readonly ok: false; readonly message: string }

/** What one site sent. */
export interface SiteTraffic {
  readonly site: string
  readonly heardMs: number | null
  /** Since start. */
  readonly messages: number
  readonly bytes: number
  /** Data plan of its site file, MB a month; null: none. */
  readonly planMb: number | null
  /** This calendar month (UTC), and how it goes on; null: nothing yet. */
  readonly month: (MonthUse & Forecast) | null
  /** ms the clock of its controllers is behind ours, the way included; negative: ahead; null: not known. */
  readonly clockBehindMs: number | null
  readonly clockDriftMsPerDay: number | null
}

export type GatewayEvent =
  | { readonly kind: 'readings'; readonly readings: readonly Reading[] }
  | { readonly kind: 'alarm'; readonly event: AlarmEvent; readonly view: AlarmView }
  | { readonly kind: 'site'; readonly site: string; readonly silent: boolean; readonly heardMs: number | null }
  | { readonly kind: 'log'; readonly entry: LogEntry }
  /** The wake rule says another thing of this alarm than before. */
  | { readonly kind: 'wake'; readonly view: AlarmView; readonly note: WakeNote }

/** What comes next on a loop, the soonest first. */
export interface LoopForecasts {
  /** When it was worked out. */
  readonly atMs: number
  readonly expected: readonly Expected[]
}

/** What is normal for signals and vitals of a loop. */
export interface LoopNormals {
  readonly atMs: number
  /** Why nothing is learned just now; null: it is. */
  readonly paused: string | null
  readonly normals: readonly Normal[]
}

export interface GatewayPort {
  readonly history: HistoryReader
  readonly log: SiteLog
  sites(): readonly SiteState[]
  site(id: string): SiteState | null
  /** Alarms that are not normal, of one site or all. */
  standing(site?: string): readonly AlarmView[]
  /** Every alarm definition of a site, with its state. */
  alarmsOf(site: string): readonly AlarmView[]
  /** Computed signals of a site, those it cannot tell too; empty: no such site. */
  vitals(site: string): readonly Explanation[]
  /** What the wake rule says of a standing alarm; null: it does not stand. */
  wake(alarm: string): WakeNote | null
  /** Nobody goes in until somebody has ventilated and measured; null: no gas alarm stands. */
  entryBlock(site: string): EntryBlock | null
  /** Worked out when asked and kept for minutes; null: no such site. */
  forecasts(site: string): Promise<LoopForecasts | null>
  /** As forecasts(). */
  normals(site: string): Promise<LoopNormals | null>
  /** Journal, newest first. */
  journal(q: { readonly site?: string; readonly fromMs: number; readonly toMs: number; readonly limit: number }): Promise<readonly AlarmEvent[]>
  acknowledge(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  /** Lets a latched alarm go that was answered and whose condition is gone. */
  reset(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  health(): Health
  /** `health().troubles` alone: every browser is told every 2 s. */
  troubles(): readonly string[]
  /** Kinds of refusal, newest first. */
  quarantine(): readonly QuarantineEntry[]
  /** Most often first. */
  unassigned(): readonly UnassignedSignal[]
  traffic(): readonly SiteTraffic[]
  /** Takes an unassigned signal into the file of its site; the file is followed within seconds. */
  adopt(site: string, signal: Adopted): AdoptionResult
  /** Listeners are called in order, synchronously; they must not throw and must not block. Gives the way to stop. */
  subscribe(listener: (event: GatewayEvent) => void): () => void
}
