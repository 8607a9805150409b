/**
 * The one way in for readings, whichever broker they come through: topic, payload, checks, durable store, then the rest of
 * the house. `take` is synchronous, and when it returns the message is ours and may be acknowledged; it throws only when the
 * store cannot take the readings, and then nothing of the message has been counted, stored, told or remembered, so that the
 * same message can come again.
 *
 * Two sums always hold, and a test says so:
 *   messages = accepted + refused + held
 *   readings = stored + duplicate + conflict + rejected
 */
import type { Clock } from '../clock.ts'
import type { AppendResult, DurableHistory } from '../history/history.ts'
import type { Counter, Health } from '../port.ts'
import type { Reading } from '../site/reading.ts'
import type { Site } from '../site/site.ts'
import { CLOCK_LIMITS } from './checks.ts'
import { judgeMessage, undoAll } from './checks-message.ts'
import { emptyLedger, ledgerCounters } from './ledger.ts'
import type { Message } from './message.ts'
import { PAYLOAD_LIMITS, readPayload, type BadReading, type RawReading } from './payload.ts'
import { createQuarantine, type QuarantineEntry } from './quarantine.ts'
import { shown, type RejectCode } from './reject-codes.ts'
import { readTopic } from './topic.ts'
import { createTracks, type SiteTracks } from './tracks.ts'
import { createUnassigned, type UnassignedSignal } from './unassigned.ts'

export interface IntakeParts {
  /** A new map, or a new Site in it, when site files have been read again. */
  readonly sites: () => ReadonlyMap<string, Site>
  readonly history: Pick<DurableHistory, 'commit'>
  readonly clock: Clock
  /** First topic levels, without a slash at the end. */
  readonly prefix: string
  /** Called after the commit with what is new, oldest first. Must not throw; when it does, that is counted and told as a trouble. */
  readonly onReadings: (readings: readonly Reading[]) => void
  /** A message of any content came from this site; not called for retained ones, which are old by definition. Must not throw. */
  readonly onHeard?: (site: string, atMs: number) => void
  /** Newest source time the history holds of a key; undefined: none. */
  readonly seed?: (key: string) => number | undefined
  /** Largest message, bytes. Default 256 KiB. */
  readonly maxBytes?: number
  /** Oldest stored-up reading that is believed. Default 7 days (DQ-22). */
  readonly maxAgeMs?: number
}

/** What one site sent since start. */
export interface SiteTraffic {
  readonly site: string
  readonly heardMs: number | null
  readonly messages: number
  readonly bytes: number
}

export interface Intake {
  /** Takes one message. Throws StoreRefused, and nothing else. */
  take(m: Message): void
  counters(): readonly Counter[]
  /** For the health page: refusals by code, messages and single readings together, and the newest example of each kind. */
  quarantine(): Pick<Health, 'rejected' | 'rejects'>
  quarantineEntries(): readonly QuarantineEntry[]
  unassigned(): readonly UnassignedSignal[]
  traffic(): readonly SiteTraffic[]
  /** Sentences for the health page; empty: all well. */
  troubles(): readonly string[]
}

/** The store could not take the readings: the message must not be acknowledged. */
export class StoreRefused extends Error {
  override readonly name = 'StoreRefused'
}

const NOTHING: AppendResult = { stored: 0, duplicate: 0, conflict: 0 }

export function createIntake(parts: IntakeParts): Intake {
  const { history, prefix, clock } = parts
  const limits = { ...PAYLOAD_LIMITS, maxBytes: parts.maxBytes ?? PAYLOAD_LIMITS.maxBytes }
  const clockLimits = { ...CLOCK_LIMITS, maxAgeMs: parts.maxAgeMs ?? CLOCK_LIMITS.maxAgeMs }
  const tracks = createTracks(parts.sites, parts.seed ?? (() => undefined))
  const quarantine = createQuarantine()
  const unassigned = createUnassigned()
  const n = emptyLedger()
  let refusing: { readonly sinceMs: number; readonly why: string } | null = null
  let listenerFault = ''

  const note = (m: Message, code: RejectCode, pattern: string, detail: string): void =>
    quarantine.note(code, shown(pattern, 160), { topic: shown(m.topic, 160), detail, bytes: m.payload.length, atMs: m.receivedMs })

  const refuse = (m: Message, code: RejectCode, detail: string, pattern = m.topic): void => {
    n.refused++
    note(m, code, pattern, detail)
  }

  /** Whatever a listener does, the message has to be taken or acknowledged all the same. */
  const failed = (e: unknown): void => {
    n.listenerFailed++
    listenerFault = e instanceof Error ? e.message : String(e)
  }

  const heard = (from: SiteTracks, m: Message): void => {
    from.messages++
    from.bytes += m.payload.length + m.topic.length
    if (m.retained) return
    if (from.heardMs === null || m.receivedMs > from.heardMs) from.heardMs = m.receivedMs
    try {
      parts.onHeard?.(from.site.id, m.receivedMs)
    } catch (e) {
      failed(e)
    }
  }

  const tell = (readings: readonly Reading[]): void => {
    if (readings.length === 0) return
    try {
      parts.onReadings(readings)
    } catch (e) {
      failed(e)
    }
  }

  const take = (m: Message): void => {
    const topic = readTopic(m.topic, prefix)
    const from = topic.ok ? tracks.of(topic.site) : undefined
    const theirs = topic.ok && m.site !== null && m.site !== topic.site
    if (from && !theirs) heard(from, m)
    n.messages++
    if (!topic.ok) return refuse(m, topic.code, topic.detail)
    if (theirs) return refuse(m, 'WRONG_SITE', `the credential of ${shown(m.site ?? '')} published to ${shown(topic.site)}`)
    if (!from) return refuse(m, 'UNKNOWN_SITE', `no site file has the id ${shown(topic.site)}`, `${prefix}/${topic.site}/+`)
    const payload = readPayload(topic.signal, m.payload, limits)
    if (!payload.ok) return refuse(m, payload.code, payload.detail)
    store(m, from, payload.readings, payload.bad)
  }

  const store = (m: Message, from: SiteTracks, raws: readonly RawReading[], bad: readonly BadReading[]): void => {
    const judged = judgeMessage(from.signals, raws, m, clockLimits)
    const { batch } = judged
    let result = NOTHING
    try {
      if (batch.length > 0) result = history.commit(batch)
    } catch (e) {
      // The message will come again, and must then look as new as it does now: otherwise its readings would be stored as
      // late ones and no alarm would ever see them.
      undoAll(judged)
      n.held++
      refusing ??= { sinceMs: clock.nowMs(), why: e instanceof Error ? e.message : String(e) }
      throw new StoreRefused(`history cannot take ${batch.length} readings of ${from.site.id}: ${e instanceof Error ? e.message : String(e)}`, { cause: e })
    }
    if (batch.length > 0) refusing = null
    n.accepted++
    n.readings += raws.length + bad.length
    n.stored += result.stored
    n.duplicate += result.duplicate + judged.repeats
    n.conflict += result.conflict
    n.rejected += bad.length + judged.bad.length + judged.strangers.length
    for (const r of batch) {
      if (!r.live) n.late++
      if (r.clock === 'suspect') n.suspect++
    }
    const base = `${prefix}/${from.site.id}`
    for (const list of [bad, judged.bad]) for (const r of list) note(m, r.code, from.signals.has(r.signal) ? `${base}/${r.signal}` : base, r.detail)
    for (const r of judged.strangers) {
      unassigned.note(from.site.id, r.signal, r.value === null ? null : Number(r.value), m.receivedMs)
      note(m, 'UNKNOWN_SIGNAL', `${base}/+`, `${shown(r.signal)} is not in the site file`)
    }
    // The store says how many were new, not which. Live ones have not been judged before, whatever the store knew of them (a
    // retained copy may have come first). Late ones are told when any were new: one told again changes nothing.
    tell(result.stored > 0 ? judged.news : judged.news.filter((r) => r.live))
  }

  return {
    take,
    counters: () => [
      ...ledgerCounters(n),
      { name: 'quarantineEntries', value: quarantine.entries().length, bound: quarantine.bound, what: 'Kinds of refusal remembered; the one unseen for longest makes room.' },
      { name: 'quarantineForgotten', value: quarantine.forgotten(), what: 'Kinds of refusal that had to make room; the totals still count them.' },
      {
        name: 'unassignedSignals',
        value: unassigned.list().length,
        bound: unassigned.bound,
        what: 'Signals sent by known sites but not in their site file; the one unseen for longest makes room.',
      },
      { name: 'unassignedForgotten', value: unassigned.forgotten(), what: 'Unassigned signals that had to make room.' },
    ],
    quarantine: () => ({
      rejected: quarantine.totals(),
      rejects: quarantine.entries().map((e) => ({ code: e.code, topic: e.topic, bytes: e.bytes, atMs: e.lastMs, detail: e.detail })),
    }),
    quarantineEntries: () => quarantine.entries(),
    unassigned: () => unassigned.list(),
    traffic: () => tracks.all().map((t) => ({ site: t.site.id, heardMs: t.heardMs, messages: t.messages, bytes: t.bytes })),
    troubles: () => [
      ...(refusing
        ? [
            `The history takes no readings since ${Math.round((clock.nowMs() - refusing.sinceMs) / 1000)} s (${refusing.why}): nothing is acknowledged, senders keep their messages.`,
          ]
        : []),
      ...(n.listenerFailed > 0 ? [`A part behind intake failed ${n.listenerFailed} times on readings that are stored: ${listenerFault}.`] : []),
    ],
  }
}
