/**
 * The one door through which the server sees the gateway: subscribe, current state, act on an alarm, read history.
 * Everything in it is plain data, so that the two can run as two processes later without touching either side.
 */
import type { LoopNow, LoopStateName, StateRecord } from './alarms/loop-state.ts'
import type { CheckLine } from './alarms/visit-check.ts'
import type { Floods } from './alarms/flood.ts'
import type { OutOfServiceRequest, ShelveRequest } from './alarms/overlay.ts'
import type { ActionResult, AlarmDef, AlarmEvent, AlarmView, Priority, Rule } from './alarms/alarm.ts'
import type { AlarmChange, AlarmFields } from './alarms/changes.ts'
import type { InForce, Proposal } from './alarms/changes-proposal.ts'
import type { SiteDifference } from './alarms/site-difference.ts'
import type { JournalledEvent, JournalQuery } from './alarms/event-query.ts'
import type { HistoryReader } from './history/history.ts'
import type { LogEntry, SiteLog } from './log/entry.ts'
import type { DueItem } from './due/item.ts'
import type { Proof } from './due/proofs.ts'
import type { Expected } from './outlook/expected.ts'
import type { Normal } from './outlook/normal.ts'
import type { Forecast, MonthUse } from './site/data-plan.ts'
import type { ForeignPlace } from './site/foreign.ts'
import type { Edit } from './site/edit.ts'
import type { Guess } from './site/guess.ts'
import type { DiffLine } from './site/line-diff.ts'
import type { NewSite } from './site/new-site.ts'
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
  /** The state of a loop, or what a check after a visit found, has changed. */
  | { readonly kind: 'state'; readonly site: string }
  /** Alarms of a site have been defined anew. */
  | { readonly kind: 'defined'; readonly site: string }
  /** The wake rule says another thing of this alarm than before. */
  | { readonly kind: 'wake'; readonly view: AlarmView; readonly note: WakeNote }

/** What runs again after a visit or a power cut, compared with the hour fromMs to toMs. */
export interface CheckView {
  readonly kind: 'visit' | 'power'
  readonly fromMs: number
  readonly toMs: number
  /** Check-out, or mains back. */
  readonly sinceMs: number
  /** Nothing more is to come of it. */
  readonly over: boolean
  /** Air first. */
  readonly lines: readonly CheckLine[]
  /** Machines that were at rest in that hour. */
  readonly atRest: readonly string[]
}

/** State of a loop now, what it does, and the checks of the last visit and power cut. */
export interface LoopStateView {
  readonly now: LoopNow
  /** Sentences: what the state does to alarms and learning. */
  readonly words: readonly string[]
  readonly checks: readonly CheckView[]
}

/** not-wanted: what was asked for is wrong. not-allowed: it cannot be done as things stand. */
export type StateAnswer = { readonly ok: true; readonly view: LoopStateView } | { readonly ok: false; readonly code: 'not-wanted' | 'not-allowed'; readonly message: string }

/** Where people say in which state a loop is. */
export interface StateDesk {
  /** Checked in again: the end is put off. untilMs null: the usual three hours. */
  checkIn(site: string, ask: { readonly untilMs: number | null; readonly why: string | null }, by: string): Promise<StateAnswer>
  /** person: whom; null: oneself. */
  checkOut(site: string, ask: { readonly person: string | null; readonly note: string | null }, by: string): Promise<StateAnswer>
  set(site: string, ask: { readonly state: Exclude<LoopStateName, 'on-site'>; readonly untilMs: number | null; readonly why: string | null }, by: string): Promise<StateAnswer>
  end(site: string, state: Exclude<LoopStateName, 'on-site' | 'in-service'>, by: string): Promise<StateAnswer>
  /** Newest first. */
  history(site: string, limit: number): Promise<readonly StateRecord[]>
}

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

/** What a person sees before changing an alarm. */
export interface Changeable {
  readonly def: AlarmDef
  readonly now: InForce
  /** Names this state; a change must bring it back. */
  readonly mark: string
  /** What the page changes now, and what the site file does. */
  readonly page: AlarmFields
  readonly file: AlarmFields
}

export interface Saving {
  readonly mark: string
  readonly reason: string
  /** Second person; asked for where an alarm is of high priority or protects people. */
  readonly approver: string | null
}

export type ChangeResult =
  | { readonly ok: true; readonly change: AlarmChange }
  | { readonly ok: false; readonly code: 'unknown-alarm' | 'unknown-change' | 'stale-version' | 'not-changed'; readonly message: string }

export interface ChangeQuery {
  readonly site?: string
  readonly alarm?: string
  readonly by?: string
  /** fromMs <= atMs < toMs. */
  readonly fromMs: number
  readonly toMs: number
  /** Only records older than this one. */
  readonly before?: number
  readonly limit: number
}

/** What decided over an alarm under one of its versions. */
export interface RaisedUnder {
  readonly version: number
  readonly rule: Rule
  readonly priority: Priority
  readonly respondWithinMin: number
}

/** Changes of alarms made in the page. */
export interface ChangesPort {
  /** null: no such alarm, not even one that is off. */
  changeable(alarm: string): Changeable | null
  preview(alarm: string, fields: AlarmFields): Proposal
  /** Written down, then in force. */
  change(alarm: string, fields: AlarmFields, by: string, saving: Saving): Promise<ChangeResult>
  /** Takes a change back by a further one. */
  undo(id: number, by: string, saving: Omit<Saving, 'mark'>): Promise<ChangeResult>
  /** Newest first. */
  list(q: ChangeQuery): Promise<readonly AlarmChange[]>
  /** The rule as it was when the standing occurrence was raised; null: none stands, or it is not on record. */
  raisedUnder(alarm: string): Promise<RaisedUnder | null>
}

/** What is due on a loop, and its local protections with their newest proof. */
export interface LoopDue {
  readonly site: string
  readonly atMs: number
  readonly items: readonly DueItem[]
  readonly proofs: readonly Proof[]
}

export interface SiteFileRefusal {
  readonly ok: false
  readonly code: 'unknown-file' | 'stale-file' | 'not-saved'
  readonly message: string
}

/** One file of the folder; `site` and `name` also of a file with faults, as far as they can be read. */
export interface SiteFileLine {
  readonly file: string
  readonly site: string | null
  readonly name: string | null
  readonly faults: readonly SiteFault[]
}

/** A site file as it stands on disk. */
export interface SiteFileView {
  readonly ok: true
  readonly file: string
  readonly site: string | null
  readonly text: string
  /** As the file writes them; null: it cannot be read as YAML. */
  readonly fields: Readonly<Record<string, unknown>> | null
  /** Names this version: a change must bring it back. */
  readonly mark: string
  readonly faults: readonly SiteFault[]
}

/** A change of a site file: its whole text, or fields of the form laid over it. `mark` is that of the version seen, `new` for a new file. */
export interface SiteFileAsk {
  readonly mark: string
  readonly text?: string | undefined
  readonly edits?: readonly Edit[] | undefined
}

/** What a change would do; nothing is saved. */
export interface SiteFileTried {
  readonly ok: true
  readonly file: string
  readonly site: string | null
  readonly isNew: boolean
  readonly text: string
  readonly fields: Readonly<Record<string, unknown>> | null
  readonly diff: readonly (readonly DiffLine[])[]
  /** Why it cannot be saved; empty: it can. */
  readonly faults: readonly SiteFault[]
  /** null: the text has faults. */
  readonly difference: SiteDifference | null
  readonly mark: string
}

export interface SiteFileSaved {
  readonly ok: true
  readonly file: string
  readonly site: string
  readonly isNew: boolean
  readonly mark: string
  readonly diff: SiteFileTried['diff']
}

/** The folder of site files. What is saved is followed within seconds. */
export interface SiteFilesPort {
  /** Why nothing may be changed here, and what to do; null: it may. */
  readonly locked: string | null
  readonly folder: string
  list(): readonly SiteFileLine[]
  read(file: string): SiteFileView | SiteFileRefusal
  /** The text a new loop begins with, tried out as the file `<id>.yaml`. */
  draft(ask: NewSite & { readonly copyOf?: string | undefined }): SiteFileTried | SiteFileRefusal
  preview(file: string, ask: SiteFileAsk): SiteFileTried | SiteFileRefusal
  save(file: string, ask: SiteFileAsk): SiteFileSaved | SiteFileRefusal
}

export interface CredentialLine {
  readonly site: string
  readonly createdMs: number
  /** null: never, as far as is known. */
  readonly usedMs: number | null
}

/** Credentials of the own broker. */
export interface CredentialsPort {
  /** As SiteFilesPort.locked. */
  readonly locked: string | null
  /** Brokers of others that readings are taken from as well; their credentials are theirs. */
  readonly outside: readonly string[]
  list(): readonly CredentialLine[]
  /** Makes one, anew where there is one: whoever uses the old one is cut off at once. Gives the secret, the only time it can be read. */
  replace(site: string): Promise<string>
  /** Ends it and its sessions; false: there was none. */
  withdraw(site: string): boolean
}

export interface GatewayPort {
  readonly siteFiles: SiteFilesPort
  readonly credentials: CredentialsPort
  readonly changes: ChangesPort
  readonly history: HistoryReader
  readonly log: SiteLog
  sites(): readonly SiteState[]
  site(id: string): SiteState | null
  /** Alarms that are not normal and that nothing lies over, of one site or all. */
  standing(site?: string): readonly AlarmView[]
  /** Alarms that are shelved, suppressed by design or out of service. */
  setAside(site?: string): readonly AlarmView[]
  /** Too many at once, per loop and over all, and one alarm at many loops. */
  floods(): Floods
  /** Every alarm definition of a site, with its state. */
  alarmsOf(site: string): readonly AlarmView[]
  /** null: no such site. */
  loopState(site: string): LoopStateView | null
  readonly stateDesk: StateDesk
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
  /** What is due on a loop, worked out when asked and kept for minutes; null: no such loop. */
  due(site: string): Promise<LoopDue | null>
  /** Of every loop as last worked out, some hours ago at most; loops whose turn has not come yet since the start are left out. */
  dueEverywhere(): readonly LoopDue[]
  /** Journal, newest first. */
  journal(q: JournalQuery): Promise<readonly JournalledEvent[]>
  acknowledge(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  /** Lets a latched alarm go that was answered and whose condition is gone. */
  reset(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  /** Lets one alarm rest until a time that its priority and class allow; `version` is the one the person saw. */
  shelve(alarm: string, shelf: ShelveRequest, by: string, version: number): Promise<ActionResult>
  unshelve(alarm: string, by: string, version: number): Promise<ActionResult>
  outOfService(alarm: string, request: OutOfServiceRequest, by: string, version: number): Promise<ActionResult>
  inService(alarm: string, by: string, version: number): Promise<ActionResult>
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
