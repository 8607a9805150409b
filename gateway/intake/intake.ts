/**
 * The one way in for readings, whichever broker they come through: topic, payload, checks, durable store, then the rest of
 * the house. What is offered within one turn of the event loop is committed as one transaction at its end, and each message
 * is answered after that: then it is ours and may be acknowledged. It is refused only when the store cannot take the
 * readings, and then nothing of the whole group has been counted, stored, told or remembered, so that the same messages can
 * come again. Waiting for nothing but the end of the turn makes no message later; a busy turn costs one commit, not many.
 *
 * Two sums always hold, and a test says so:
 *   messages = accepted + refused + held
 *   readings = stored + duplicate + conflict + rejected
 */
import type { Clock } from '../clock.ts'
import type { Amendment, AppendResult, DurableHistory } from '../history/history.ts'
import type { Counter, Health, SiteTraffic, UnassignedSignal } from '../port.ts'
import type { Reading } from '../site/reading.ts'
import { forecast, type MonthUse } from '../site/data-plan.ts'
import { silentAfterMs, type Site } from '../site/site.ts'
import { CLOCK_LIMITS } from './checks.ts'
import { judgeMessage, undoAll, type JudgedMessage } from './checks-message.ts'
import { CLOCK_TOLD_MS } from './clock-offset.ts'
import type { LinkNow, Times } from './link-hour.ts'
import { emptyLedger, ledgerCounters } from './ledger.ts'
import { sizeOf, type Message } from './message.ts'
import { idFrom, isMapped } from './mapping-fields.ts'
import { readMapped, type MappedResult } from './mapping.ts'
import { PAYLOAD_LIMITS, readPayload, type BadReading, type RawReading } from './payload.ts'
import { NO_ZONE } from './payload-time.ts'
import { placed } from './placed.ts'
import { createQuarantine, type QuarantineEntry } from './quarantine.ts'
import { shown, type DoorCode, type RejectCode } from './reject-codes.ts'
import { readTopic } from './topic.ts'
import { addToMonth, addToOnce, createTracks, type Seed, type SiteTracks } from './tracks.ts'
import { createUnassigned } from './unassigned.ts'

export interface IntakeParts {
  /** A new map, or a new Site in it, when site files have been read again. */
  readonly sites: () => ReadonlyMap<string, Site>
  /** `amend`: takes what is said of stored readings from now on; gives how many it knew. Absent: it is only counted. */
  readonly history: Pick<DurableHistory, 'commit'> & { readonly amend?: (amendments: readonly Amendment[]) => number }
  readonly clock: Clock
  /** First topic levels, without a slash at the end. */
  readonly prefix: string
  /** Called after the commit with what is new, oldest first. Must not throw; when it does, that is counted and told as a trouble. */
  readonly onReadings: (readings: readonly Reading[]) => void
  /** A message of any content came from this site; not called for retained ones, which are old by definition. Must not throw. */
  readonly onHeard?: (site: string, atMs: number) => void
  /** What the history holds of a key; undefined: nothing. */
  readonly seed?: (key: string) => Seed | undefined
  /** Largest message, bytes. Default 256 KiB. */
  readonly maxBytes?: number
  /** Oldest stored-up reading that is believed of a site whose file does not vouch for more. Default 7 days. */
  readonly maxAgeMs?: number
}

export interface Intake {
  /**
   * Takes one message; `done` is called after the commit, with null when the message is ours and with StoreRefused when it must not
   * be acknowledged, in the order of the offers. `done` must not throw.
   */
  offer(m: Message, done: (refused: StoreRefused | null) => void): void
  /** Commits what has been offered, now. */
  flush(): void
  /** Takes one message and commits it before it returns. Throws StoreRefused, and nothing else. */
  take(m: Message): void
  /** The own broker refused a connection or subscription: counted and listed beside the messages, but it was none. */
  noteTurnedAway(code: DoorCode, who: string, detail: string, atMs: number): void
  /** Is this topic, outside our own form, mapped by that site? */
  maps(topic: string, site: string): boolean
  /** Topics outside our prefix that site files map; brokers have to be asked for them. */
  foreignTopics(): readonly string[]
  counters(): readonly Counter[]
  /** For the health page: refusals by code, messages and single readings together, and the newest example of each kind. */
  quarantine(): Pick<Health, 'rejected' | 'rejects'>
  quarantineEntries(): readonly QuarantineEntry[]
  unassigned(): readonly UnassignedSignal[]
  traffic(): readonly SiteTraffic[]
  /** The clock of each site, and what of its last hour was refused. */
  links(): readonly (LinkNow & { readonly site: string; readonly clockBehindMs: number | null })[]
  /** Month counts of an earlier run, to go on from; call before the first message. */
  resumeMonth(site: string, use: MonthUse): void
  /** Sentences for the health page; empty: all well. */
  troubles(): readonly string[]
}

/** The store could not take the readings: the message must not be acknowledged. */
export class StoreRefused extends Error {
  override readonly name = 'StoreRefused'
}

const NOTHING: AppendResult = { stored: 0, duplicate: 0, conflict: 0 }
/** A group of so many readings is committed without waiting for the end of the turn. */
const GROUP_READINGS = 4000
const GROUP_MESSAGES = 1000
/** Older than this on arrival, a reading was kept in a store and does not belong to the usual traffic. */
const STORED_UP_MS = 3_600_000

/** A message that has been judged and waits for the commit. */
interface Staged {
  readonly m: Message
  readonly from: SiteTracks
  readonly raws: readonly RawReading[]
  readonly bad: readonly BadReading[]
  readonly judged: JudgedMessage
  readonly formerWallMs: number | null
  readonly doubled: number
  readonly missing: number
}

interface Offered {
  /** null: refused and put in quarantine, only to be acknowledged in its turn. */
  readonly staged: Staged | null
  readonly done: (refused: StoreRefused | null) => void
}

export function createIntake(parts: IntakeParts): Intake {
  const { history, prefix, clock } = parts
  const limits = { ...PAYLOAD_LIMITS, maxBytes: parts.maxBytes ?? PAYLOAD_LIMITS.maxBytes }
  const clockLimits = { ...CLOCK_LIMITS, maxAgeMs: parts.maxAgeMs ?? CLOCK_LIMITS.maxAgeMs }
  const tracks = createTracks(parts.sites, parts.seed ?? (() => undefined), prefix)
  const quarantine = createQuarantine()
  const unassigned = createUnassigned()
  const n = emptyLedger()
  let refusing: { readonly sinceMs: number; readonly why: string } | null = null
  let listenerFault = ''

  const note = (m: Message, code: RejectCode, pattern: string, detail: string): void =>
    quarantine.note(code, shown(pattern, 160), { topic: shown(m.topic, 160), detail, bytes: sizeOf(m), atMs: m.receivedMs })

  const refuse = (m: Message, code: RejectCode, detail: string, pattern = m.topic): null => {
    n.messages++
    n.refused++
    note(m, code, pattern, detail)
    return null
  }

  /** Whatever a listener does, the message has to be taken or acknowledged all the same. */
  const failed = (e: unknown): void => {
    n.listenerFailed++
    listenerFault = e instanceof Error ? e.message : String(e)
  }

  const heard = (from: SiteTracks, m: Message): void => {
    from.messages++
    from.bytes += sizeOf(m) + m.topic.length
    addToMonth(from, m)
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

  let waiting: Offered[] = []
  let waitingReadings = 0
  let planned: NodeJS.Immediate | null = null

  /** Reads and judges; null: refused whole, and that is settled. */
  const stage = (m: Message): Staged | null => {
    const mapped = tracks.foreign(m.topic)
    const topic = mapped ? ({ ok: true, site: mapped.site, signal: null } as const) : readTopic(m.topic, prefix)
    const from = topic.ok ? tracks.of(topic.site) : undefined
    const theirs = topic.ok && m.site !== null && m.site !== topic.site
    if (from && !theirs) heard(from, m)
    if (!topic.ok) return refuse(m, topic.code, topic.detail)
    if (theirs) {
      tracks.of(m.site ?? '')?.hour.refused(m.receivedMs, false)
      return refuse(m, 'WRONG_SITE', `the credential of ${shown(m.site ?? '')} published to ${shown(topic.site)}`)
    }
    if (!from) return refuse(m, 'UNKNOWN_SITE', `no site file has the id ${shown(topic.site)}`, `${prefix}/${topic.site}/+`)
    if (m.cutFrom !== undefined) {
      from.hour.refused(m.receivedMs, false)
      return refuse(m, 'TOO_LARGE', `${m.cutFrom} bytes, at most ${limits.maxBytes}: it was not read`)
    }
    const { naive } = from.site.clock
    const payload: MappedResult = mapped ? readMapped(mapped.topic, m.payload, limits, naive) : readPayload(topic.signal, m.payload, limits, naive)
    if (payload.unmapped)
      for (const { path, when, value } of payload.unmapped) unassigned.note(from.site.id, idFrom({ path, when }), value, m.receivedMs, { topic: shown(m.topic, 200), path, when })
    if (!payload.ok) {
      from.hour.refused(m.receivedMs, zoneless(payload))
      return refuse(m, payload.code, payload.detail)
    }
    const formerWallMs = from.wallMs
    const { raws, lastMs, doubled, missing } = placed(payload.readings, from.site, formerWallMs, m.receivedMs)
    if (lastMs !== null) from.wallMs = lastMs
    const judged = judgeMessage(from.signals, raws, m, clockLimits, from.site.clock.backlogMs)
    return { m, from, raws, bad: payload.bad, judged, formerWallMs, doubled, missing }
  }

  const offer = (m: Message, done: Offered['done']): void => {
    const staged = stage(m)
    waiting.push({ staged, done })
    waitingReadings += staged?.judged.batch.length ?? 0
    if (waitingReadings >= GROUP_READINGS || waiting.length >= GROUP_MESSAGES) flush()
    else planned ??= setImmediate(flush)
  }

  const flush = (): void => {
    if (planned) clearImmediate(planned)
    planned = null
    const group = waiting
    waiting = []
    waitingReadings = 0
    if (group.length === 0) return
    const first = group.length === 1 ? group[0]?.staged?.judged.batch : undefined
    const batch = first ?? batchOf(group)
    let result = NOTHING
    try {
      if (batch.length > 0) result = history.commit(batch)
    } catch (e) {
      return holdAll(group, batch.length, e)
    }
    if (batch.length > 0) refusing = null
    n.stored += result.stored
    n.duplicate += result.duplicate
    n.conflict += result.conflict
    amend(group)
    for (const { staged, done } of group) {
      if (staged) settle(staged, result.stored > 0)
      done(null)
    }
  }

  /** The readings are stored; what this would have said of the ones before them is not worth refusing a message for. */
  const amend = (group: readonly Offered[]): void => {
    const all = group.flatMap(({ staged }) => staged?.judged.spikes ?? [])
    if (all.length === 0 || !history.amend) return
    try {
      n.amended += history.amend(all)
    } catch (e) {
      failed(e)
    }
  }

  /** The messages will come again, and must then look as new as they did: otherwise their readings would be stored as late ones and no alarm would ever see them. */
  const holdAll = (group: readonly Offered[], readings: number, e: unknown): void => {
    const why = e instanceof Error ? e.message : String(e)
    refusing ??= { sinceMs: clock.nowMs(), why }
    for (const { staged } of group.toReversed()) {
      if (!staged) continue
      undoAll(staged.judged)
      staged.from.wallMs = staged.formerWallMs
      n.messages++
      n.held++
    }
    const refused = new StoreRefused(`history cannot take ${readings} readings: ${why}`, { cause: e })
    for (const { staged, done } of group) done(staged ? refused : null)
  }

  const settle = ({ m, from, raws, bad, judged, doubled, missing }: Staged, someStored: boolean): void => {
    const { batch } = judged
    n.messages++
    n.accepted++
    n.readings += raws.length + bad.length
    n.duplicate += judged.repeats
    n.rejected += bad.length + judged.bad.length + judged.strangers.length
    n.qcSpikes += judged.spikes.length
    n.wallDoubled += doubled
    n.wallMissing += missing
    for (const r of batch) {
      if (!r.live) n.late++
      if (r.clock === 'suspect') n.suspect++
      if (r.qc === 3) n.qcSuspect++
      else if (r.qc === 4) n.qcFailed++
    }
    if (!m.retained) {
      from.hour.taken(m.receivedMs, raws.length + bad.length - judged.strangers.length, bad.length + judged.bad.length, bad.some(zoneless) ? 'zoneless' : believed(batch))
      const beside = besideLive(from, batch, m.receivedMs)
      if (!beside) noteClock(from, raws, m.receivedMs)
      else if (batch.every((r) => m.receivedMs - r.sourceMs > STORED_UP_MS)) addToOnce(from, m)
    }
    const base = `${prefix}/${from.site.id}`
    for (const list of [bad, judged.bad]) for (const r of list) note(m, r.code, from.signals.has(r.signal) ? `${base}/${r.signal}` : base, r.detail)
    for (const r of judged.strangers) {
      unassigned.note(from.site.id, r.signal, r.value === null ? null : Number(r.value), m.receivedMs)
      note(m, 'UNKNOWN_SIGNAL', `${base}/+`, `${shown(r.signal)} is not in the site file`)
    }
    // The store says how many were new, not which. Live ones have not been judged before, whatever the store knew of them (a
    // retained copy may have come first). Late ones are told when any were new: one told again changes nothing.
    tell(someStored ? judged.news : judged.news.filter((r) => r.live))
  }

  /** Nothing live in it, but the site has sent something live just now. */
  const besideLive = (from: SiteTracks, batch: readonly Reading[], receivedMs: number): boolean => {
    if (batch.some((r) => r.live)) {
      from.liveMs = receivedMs
      return false
    }
    return from.liveMs !== null && receivedMs - from.liveMs <= silentAfterMs(from.site)
  }

  /**
   * The clock of the sender shows in the newest time it sent: over live messages. A store that empties itself beside them says
   * nothing of the clock; only of a sender that has long sent nothing live every message counts, because its clock may be why.
   */
  const noteClock = (from: SiteTracks, raws: readonly RawReading[], receivedMs: number): void => {
    let newest = Number.NEGATIVE_INFINITY
    for (const r of raws) if (r.sentMs !== null && r.sentMs > newest) newest = r.sentMs
    if (newest >= clockLimits.notBeforeMs) from.clock.note(newest, receivedMs)
  }

  /** What a site file has taken in since is assigned. */
  const stillUnassigned = (): readonly UnassignedSignal[] =>
    unassigned.list().filter((u) => {
      const of = tracks.of(u.site)
      if (!of) return false
      const { from } = u
      if (from === null) return !of.signals.has(u.signal)
      const topic = of.site.foreign.find((t) => t.topic === from.topic)
      return topic !== undefined && !isMapped(topic, from)
    })

  const traffic = (): readonly SiteTraffic[] =>
    tracks.all().map((t) => ({
      site: t.site.id,
      heardMs: t.heardMs,
      messages: t.messages,
      bytes: t.bytes,
      planMb: t.site.dataPlanMb,
      month: t.month && { ...t.month, ...forecast(t.month, clock.nowMs(), t.site.dataPlanMb) },
      clockBehindMs: t.clock.behindMs(),
      clockDriftMsPerDay: t.clock.driftMsPerDay(),
    }))

  return {
    offer,
    flush,
    take(m) {
      flush()
      let refused: StoreRefused | null = null
      offer(m, (r) => (refused = r))
      flush()
      // oxlint-disable-next-line no-unnecessary-condition -- set in the call above
      if (refused) throw refused as StoreRefused
    },
    noteTurnedAway: (code, who, detail, atMs) => quarantine.note(code, who, { topic: who, detail, bytes: 0, atMs }),
    maps: (topic, site) => tracks.foreign(topic)?.site === site,
    foreignTopics: () => tracks.foreignTopics(),
    resumeMonth(site, use) {
      const t = tracks.of(site)
      if (t && t.month === null) t.month = use
    },
    counters: () => [
      ...ledgerCounters(n),
      { name: 'quarantineEntries', value: quarantine.entries().length, bound: quarantine.bound, what: 'Kinds of refusal remembered; the one unseen for longest makes room.' },
      { name: 'quarantineForgotten', value: quarantine.forgotten(), what: 'Kinds of refusal that had to make room; the totals still count them.' },
      {
        name: 'unassignedSignals',
        value: unassigned.size(),
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
    unassigned: stillUnassigned,
    traffic,
    links: () => tracks.all().map((t) => ({ site: t.site.id, clockBehindMs: t.clock.behindMs(), ...t.hour.now(clock.nowMs()) })),
    troubles: () => [
      ...(refusing
        ? [
            `The history takes no readings since ${Math.round((clock.nowMs() - refusing.sinceMs) / 1000)} s (${refusing.why}): nothing is acknowledged, senders keep their messages.`,
          ]
        : []),
      ...tracks.faults(),
      ...shortened(tracks.all().flatMap((t) => clockTrouble(t.site.id, t.clock.behindMs()) ?? [])),
      ...shortened(traffic().flatMap((t) => planTrouble(t) ?? [])),
      ...(n.listenerFailed > 0 ? [`A part behind intake failed ${n.listenerFailed} times on readings that are stored: ${listenerFault}.`] : []),
    ],
  }
}

const zoneless = (r: { readonly code: RejectCode; readonly detail: string }): boolean => r.code === 'TIME' && r.detail.includes(NO_ZONE)

/** Did the message bring a time that can be true? null: none of its own, as from a controller without a clock. */
function believed(batch: readonly Reading[]): Times {
  let suspect = false
  for (const r of batch) {
    if (r.clock === 'ok') return 'believed'
    if (r.clock === 'suspect') suspect = true
  }
  return suspect ? 'disbelieved' : null
}

/** By hand: flatMap took a twentieth of the whole intake. */
function batchOf(group: readonly Offered[]): readonly Reading[] {
  const out: Reading[] = []
  for (const { staged } of group) if (staged) for (const r of staged.judged.batch) out.push(r)
  return out
}

/** Many sites with the same fault must not push everything else off the page. */
const MOST_SENTENCES = 5
const shortened = (all: readonly string[]): readonly string[] =>
  all.length <= MOST_SENTENCES ? all : [...all.slice(0, MOST_SENTENCES), `... and ${all.length - MOST_SENTENCES} more sites with the same.`]

function clockTrouble(site: string, behindMs: number | null): string | null {
  if (behindMs === null || Math.abs(behindMs) <= CLOCK_TOLD_MS) return null
  const size = Math.abs(behindMs)
  const text = size >= 5_400_000 ? `${(size / 3_600_000).toFixed(1)} h` : size >= 120_000 ? `${(size / 60_000).toFixed(0)} min` : `${(size / 1000).toFixed(0)} s`
  return `The clock of site ${site} is ${text} ${behindMs > 0 ? 'behind' : 'ahead'}: set it, or say so in its site file (clock: { ${behindMs > 0 ? 'behind' : 'ahead'}: ... }).`
}

function planTrouble(t: SiteTraffic): string | null {
  if (!t.month || t.month.ofPlan === null || t.month.ofPlan <= 1) return null
  return `Site ${t.site} will send about ${Math.round(t.month.monthMb ?? 0)} MB this month, ${Math.round(t.month.ofPlan * 100)} % of its data plan.`
}
