/**
 * The one door through which the server sees the gateway: subscribe, current state, act on an alarm, read history.
 * Everything in it is plain data, so that the two can run as two processes later without touching either side.
 */
import type { ActionResult, AlarmEvent, AlarmView } from './alarms/alarm.ts'
import type { HistoryReader } from './history/history.ts'
import type { LogEntry, SiteLog } from './log/entry.ts'
import type { Reading } from './site/reading.ts'
import type { SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

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

export type GatewayEvent =
  | { readonly kind: 'readings'; readonly readings: readonly Reading[] }
  | { readonly kind: 'alarm'; readonly event: AlarmEvent; readonly view: AlarmView }
  | { readonly kind: 'site'; readonly site: string; readonly silent: boolean; readonly heardMs: number | null }
  | { readonly kind: 'log'; readonly entry: LogEntry }

export interface GatewayPort {
  readonly history: HistoryReader
  readonly log: SiteLog
  sites(): readonly SiteState[]
  site(id: string): SiteState | null
  /** Alarms that are not normal, of one site or all. */
  standing(site?: string): readonly AlarmView[]
  /** Every alarm definition of a site, with its state. */
  alarmsOf(site: string): readonly AlarmView[]
  /** Journal, newest first. */
  journal(q: { readonly site?: string; readonly fromMs: number; readonly toMs: number; readonly limit: number }): Promise<readonly AlarmEvent[]>
  acknowledge(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  /** Lets a latched alarm go that was answered and whose condition is gone. */
  reset(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  health(): Health
  /** Listeners are called in order, synchronously; they must not throw and must not block. Gives the way to stop. */
  subscribe(listener: (event: GatewayEvent) => void): () => void
}
