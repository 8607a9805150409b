/**
 * The states of all loops: said by people through the page or the site log, ended by themselves, and what follows from them. A word is in the
 * record on disk before anybody hears of it. Visits stand in the site log too, whichever of the two they were said in.
 */
import { OVERDUE, POWER, POWER_AIR, powerSignals, VISIT, VISIT_AIR } from './alarms/defaults-visit.ts'
import type { Mains } from './alarms/consequences.ts'
import type { AlarmKeeper } from './alarms/keeper.ts'
import { effectWords, learningPaused } from './alarms/loop-effect.ts'
import {
  applyRecord,
  firstStates,
  loopNow,
  refusedState,
  spansOf,
  USUAL_VISIT_MS,
  type LoopStateName,
  type LoopStates,
  type StateRecord,
  type StateSpan,
} from './alarms/loop-state.ts'
import { CHECK_ENDS_MS } from './alarms/visit-check.ts'
import type { Clock } from './clock.ts'
import type { HistoryReader } from './history/history.ts'
import type { LogEntry, NewEntry } from './log/entry.ts'
import { startChecks } from './loop-checks.ts'
import { startSuppression, type Suppress } from './loop-suppression.ts'
import type { LoopStateStore } from './loop-state-store.ts'
import type { Counter, LoopStateView, SiteState, StateAnswer, StateDesk } from './port.ts'
import { keyOf, signalOfKey, siteOfKey, type Reading } from './site/reading.ts'
import type { Site } from './site/site.ts'

/** A visit written down later than this is history and no check-in. */
const LATE_ENTRY_MS = 12 * 3_600_000
const OWN = 'Loopkeeper'

export interface LoopKeeperParts {
  readonly clock: Clock
  readonly store: LoopStateStore
  /** Everything in the store, in its order. */
  readonly records: readonly StateRecord[]
  readonly history: Pick<HistoryReader, 'range'>
  readonly sites: () => readonly SiteState[]
  readonly site: (id: string) => SiteState | null
  readonly alarms: Pick<AlarmKeeper, 'fact' | 'learning' | 'standing' | 'alarmsOf'>
  readonly suppress: Suppress
  /** Writes into the site log, without asking back here. */
  readonly write: (entry: NewEntry, by: string) => Promise<LogEntry>
  readonly changed: (site: string) => void
}

export interface LoopKeeper extends StateDesk {
  of(site: string): LoopStateView | null
  spans(site: string): Promise<readonly StateSpan[]>
  /** An entry of the site log that did not come from here. Never rejects. */
  onEntry(entry: LogEntry): Promise<void>
  onReadings(readings: readonly Reading[]): void
  tick(): void
  counters(): readonly Counter[]
  troubles(): readonly string[]
  stop(): Promise<void>
}

export function startLoopKeeper(parts: LoopKeeperParts): LoopKeeper {
  const { clock, store } = parts
  const kept = new Map<string, LoopStates>()
  /** Loops that people have said something about: the site file is over for these. */
  for (const r of parts.records) kept.set(r.site, applyRecord(kept.get(r.site) ?? firstStates(parts.site(r.site)?.site.firstState ?? null), r))
  const checks = startChecks({
    clock,
    history: parts.history,
    fact: (alarm, fact) => parts.alarms.fact(alarm, fact),
    heardMs: (id) => parts.site(id)?.heardMs ?? null,
    changed: parts.changed,
  })
  const suppression = startSuppression({ alarmsOf: (site) => parts.alarms.alarmsOf(site), suppress: parts.suppress })
  const overdueTold = new Map<string, boolean>()
  const shown = new Map<string, string>()
  /** Steps of one loop come after each other. */
  const lines = new Map<string, Promise<unknown>>()
  const power = new Map<string, { lostMs: number | null; up: { atMs: number; s: number } | null }>()
  let written = 0
  let failed = 0
  let checkFaults = 0
  let began = false
  let stopped = false
  let nextMs = 0

  for (const { site, latest } of parts.sites()) {
    // What was last heard of the power before the start.
    const watched = powerOf(site)
    const mains = watched.mains === null ? undefined : latest.get(watched.mains)
    const up = watched.uptime === null ? undefined : latest.get(watched.uptime)
    if (mains?.value === 0 || (up && up.value !== null))
      power.set(site.id, { lostMs: mains?.value === 0 ? mains.sourceMs : null, up: up && up.value !== null ? { atMs: up.sourceMs, s: up.value } : null })
  }

  const statesOf = (site: Site): LoopStates => kept.get(site.id) ?? firstStates(site.firstState ?? null)
  const inTurn = <T>(site: string, work: () => Promise<T>): Promise<T> => {
    const next = (lines.get(site) ?? Promise.resolve()).then(work)
    const settled: Promise<void> = next
      .then(
        () => undefined,
        () => undefined,
      )
      .then(() => {
        if (lines.get(site) === settled) lines.delete(site)
      })
    lines.set(site, settled)
    return next
  }

  async function record(site: Site, r: Omit<StateRecord, 'site' | 'recordedMs'>): Promise<void> {
    const full: StateRecord = { ...r, site: site.id, recordedMs: clock.nowMs() }
    try {
      await store.add(full)
    } catch (e) {
      failed++
      throw e
    }
    written++
    kept.set(site.id, applyRecord(statesOf(site), full))
    if (full.act === 'end' && full.state === 'on-site') afterVisit(site)
    if (full.act === 'power-back') openCheck('power', site, full.fromMs ?? full.atMs, full.atMs)
    settle(site)
    parts.changed(site.id)
  }

  function afterVisit(site: Site): void {
    const { left, visits } = statesOf(site)
    if (left && visits.length === 0) openCheck('visit', site, left.fromMs, left.toMs)
  }

  function openCheck(kind: 'visit' | 'power', site: Site, toMs: number, sinceMs: number): void {
    checks.open(kind, site, toMs, sinceMs).catch(() => checkFaults++)
  }

  /** Brings what follows from the state in line with it. */
  function settle(site: Site): void {
    const nowMs = clock.nowMs()
    const states = statesOf(site)
    const now = loopNow(states, nowMs)
    suppression.look(site, now, { mains: mainsOf(parts.site(site.id), nowMs), backMs: states.power?.backMs ?? null }, nowMs)
    parts.alarms.learning(site.id, !learningPaused(now))
    const late = now.visits.filter((v) => v.overdue)
    if (overdueTold.get(site.id) !== now.overdue && (now.overdue || overdueTold.has(site.id) || !began)) {
      overdueTold.set(site.id, now.overdue)
      parts.alarms.fact(`${site.id}/${OVERDUE}`, {
        active: now.overdue,
        atMs: now.overdue ? (now.overdueFromMs ?? nowMs) : nowMs,
        value: null,
        unit: '1',
        note: late.map((v) => v.person).join(', '),
      })
    }
    const sign = `${now.is} ${now.untilMs} ${now.overdue} ${now.leaving === null} ${now.restartUntilMs === null} ${now.visits.map((v) => v.overdue).join()}`
    if (shown.get(site.id) !== sign) {
      const first = !shown.has(site.id)
      shown.set(site.id, sign)
      if (!first) parts.changed(site.id)
    }
  }

  /** A cut that was going on at the start began before its newest reading: the hour before is that before the first one. */
  async function beginOfCut(site: Site): Promise<void> {
    const { mains } = powerOf(site)
    const p = power.get(site.id)
    if (mains === null || p?.lostMs == null) return
    const { lostMs } = p
    const told = await parts.history.range(keyOf(site.id, mains), lostMs - CUT_BACK_MS, lostMs, CUT_READINGS)
    const present = told.findLastIndex((r) => r.value !== null && r.value !== 0 && r.quality !== 'bad')
    const first = told.slice(present + 1).find((r) => r.value === 0)
    if (first && p.lostMs === lostMs) p.lostMs = Math.min(lostMs, first.sourceMs)
  }

  /** What was going on when the gateway stopped goes on. */
  function begin(): void {
    began = true
    const nowMs = clock.nowMs()
    for (const { site } of parts.sites()) beginOfCut(site).catch(() => checkFaults++)
    const standing = new Set(parts.alarms.standing().map((v) => v.def.id))
    for (const { site } of parts.sites()) {
      const { left, power: cut, visits } = statesOf(site)
      const stands = (...keys: string[]): boolean => keys.some((k) => standing.has(`${site.id}/${k}`))
      if (left && visits.length === 0 && (nowMs - left.toMs < CHECK_ENDS_MS || stands(VISIT, VISIT_AIR))) openCheck('visit', site, left.fromMs, left.toMs)
      if (cut && (nowMs - cut.backMs < CHECK_ENDS_MS || stands(POWER, POWER_AIR))) openCheck('power', site, cut.lostMs, cut.backMs)
    }
  }

  const view = (site: Site): LoopStateView => {
    const nowMs = clock.nowMs()
    const now = loopNow(statesOf(site), nowMs)
    return { now, words: effectWords(now, nowMs), checks: checks.of(site.id) }
  }
  const no = (code: 'not-wanted' | 'not-allowed', message: string): StateAnswer => ({ ok: false, code, message })

  async function act(id: string, work: (site: Site) => Promise<StateAnswer | null>): Promise<StateAnswer> {
    const state = parts.site(id)
    if (!state) return no('not-wanted', `no loop "${id}"`)
    if (stopped) return no('not-allowed', 'The gateway is stopping: try again when it is back.')
    try {
      return (await inTurn(id, () => work(state.site))) ?? { ok: true, view: view(state.site) }
    } catch (e) {
      return no('not-allowed', `Not taken, because it cannot be written down: ${e instanceof Error ? e.message : String(e)}.`)
    }
  }

  /** The word stands in the record by now: a log that cannot be written is counted, and takes nothing back. */
  const log = async (site: Site, kind: 'visit-in' | 'visit-out', atMs: number, text: string | null, by: string): Promise<void> => {
    await parts.write({ site: site.id, kind, atMs, ...(text !== null && text !== '' && { text: text.slice(0, 500) }) }, by).catch(() => failed++)
  }

  const checkedOut = (site: Site, person: string, atMs: number, by: string): Promise<void> => {
    const states = statesOf(site)
    // What an earlier visit left off is still expected: its hour before is kept.
    const last = states.visits.length === 1
    const fromMs = last ? checks.unfinishedToMs(site.id, 'visit') : null
    return record(site, { act: 'end', state: 'on-site', person, atMs, fromMs, untilMs: null, why: null, by })
  }

  return {
    of(id) {
      const state = parts.site(id)
      return state && view(state.site)
    },
    checkIn: (id, ask, by) =>
      act(id, async (site) => {
        const nowMs = clock.nowMs()
        const untilMs = ask.untilMs ?? nowMs + USUAL_VISIT_MS
        const refused = refusedState('on-site', nowMs, untilMs, ask.why)
        if (refused !== null) return no('not-wanted', refused)
        const there = statesOf(site).visits.some((v) => v.person === by)
        await record(site, { act: 'begin', state: 'on-site', person: by, atMs: nowMs, fromMs: null, untilMs, why: ask.why, by })
        if (!there) await log(site, 'visit-in', nowMs, ask.why, by)
        return null
      }),
    checkOut: (id, ask, by) =>
      act(id, async (site) => {
        const nowMs = clock.nowMs()
        const person = ask.person ?? by
        const { visits } = statesOf(site)
        if (!visits.some((v) => v.person === person)) {
          const there = visits.map((v) => v.person)
          return no('not-allowed', `${person} is not checked in at this loop${there.length > 0 ? `; there ${there.length === 1 ? 'is' : 'are'} ${there.join(', ')}` : ''}.`)
        }
        await checkedOut(site, person, nowMs, by)
        await log(site, 'visit-out', nowMs, person === by ? ask.note : [`${person} checked out by ${by}`, ask.note].filter(Boolean).join(': '), by)
        return null
      }),
    set: (id, ask, by) =>
      act(id, async (site) => {
        const nowMs = clock.nowMs()
        const refused = refusedState(ask.state, nowMs, ask.untilMs, ask.why)
        if (refused !== null) return no('not-wanted', refused)
        await record(site, { act: 'begin', state: ask.state, person: null, atMs: nowMs, fromMs: null, untilMs: ask.untilMs, why: ask.why, by })
        return null
      }),
    end: (id, state, by) =>
      act(id, async (site) => {
        const nowMs = clock.nowMs()
        const now = loopNow(statesOf(site), nowMs)
        const holds = state === 'planned-work' ? now.work !== null : now.life.state === state
        if (!holds) return no('not-allowed', `The loop is not in that state: it is ${WORDS[now.is]}. Look again.`)
        await record(site, { act: 'end', state, person: null, atMs: nowMs, fromMs: null, untilMs: null, why: null, by })
        return null
      }),
    history: (id, limit) => store.newest(id, limit),
    async spans(id) {
      const state = parts.site(id)
      return state ? spansOf(state.site.firstState ?? null, await store.all(id), clock.nowMs()) : []
    },
    async onEntry(entry) {
      const site = parts.site(entry.site)?.site
      if (!site || stopped || entry.corrects !== undefined || clock.nowMs() - entry.atMs > LATE_ENTRY_MS) return
      await inTurn(entry.site, async () => {
        const nowMs = clock.nowMs()
        const there = statesOf(site).visits.some((v) => v.person === entry.by)
        if (entry.kind === 'visit-in') {
          const untilMs = nowMs + USUAL_VISIT_MS
          await record(site, { act: 'begin', state: 'on-site', person: entry.by, atMs: Math.min(entry.atMs, nowMs), fromMs: null, untilMs, why: entry.text ?? null, by: entry.by })
        } else if (entry.kind === 'visit-out' && there) await checkedOut(site, entry.by, Math.min(entry.atMs, nowMs), entry.by)
      }).catch(() => undefined)
    },
    onReadings(readings) {
      checks.onReadings(readings)
      for (const r of readings) {
        if (!r.live || r.value === null || r.quality === 'bad') continue
        const at = parts.site(siteOfKey(r.key))
        if (at) watchPower(at, r, r.value)
      }
    },
    tick() {
      if (stopped || clock.steadyMs() < nextMs) return
      nextMs = clock.steadyMs() + 1000
      for (const { site } of parts.sites()) settle(site)
      if (!began) begin()
      checks.tick()
    },
    counters: () => [
      { name: 'loopStateRecords', value: written, what: 'Words about the state of loops (check-in, planned work, rest ...) written down since the start.' },
      { name: 'loopStateFailures', value: failed, what: 'Times such a word could not be written down; the person was told.' },
      { name: 'checkFailures', value: checkFaults, what: 'Checks after a visit or a power cut that could not be made, because the history could not be read.' },
    ],
    troubles: () => (checkFaults > 0 ? [`${checkFaults} checks after a visit or a power cut could not be made: the history could not be read.`] : []),
    async stop() {
      stopped = true
      await Promise.all(lines.values())
    },
  }

  /** Mains that come back, and a controller that starts anew, begin a check. */
  function watchPower({ site }: SiteState, r: Reading, value: number): void {
    const watched = powerOf(site)
    const id = signalOfKey(r.key)
    if (id !== watched.mains && id !== watched.uptime) return
    let p = power.get(site.id)
    if (!p) power.set(site.id, (p = { lostMs: null, up: null }))
    let lostMs: number | null = null
    let backMs = r.sourceMs
    if (id === watched.mains) {
      if (value === 0) p.lostMs ??= r.sourceMs
      else {
        lostMs = p.lostMs
        p.lostMs = null
      }
    } else {
      if (p.up && value < p.up.s && r.sourceMs > p.up.atMs) {
        lostMs = p.up.atMs
        backMs = Math.max(lostMs, r.sourceMs - value * 1000)
        const told = statesOf(site).power
        // The mains signal has said so already.
        if (p.lostMs !== null || (told && Math.abs(told.backMs - backMs) < SAME_CUT_MS)) lostMs = null
      }
      p.up = { atMs: r.sourceMs, s: value }
    }
    if (lostMs === null) return
    const fromMs = Math.min(lostMs, checks.unfinishedToMs(site.id, 'power') ?? lostMs)
    void inTurn(site.id, () => record(site, { act: 'power-back', state: null, person: null, atMs: backMs, fromMs, untilMs: null, why: null, by: OWN })).catch(() => undefined)
  }
}

/** How far back the beginning of a power cut is looked for. */
const CUT_BACK_MS = 2 * 86_400_000
const CUT_READINGS = 20_000
const SAME_CUT_MS = 10 * 60_000

interface PowerSignals {
  readonly mains: string | null
  readonly uptime: string | null
}
const powerKnown = new WeakMap<Site, PowerSignals>()

/** The signals of a site that tell of its power; a site object is replaced as a whole when its file changes. */
function powerOf(site: Site): PowerSignals {
  let known = powerKnown.get(site)
  if (!known) {
    const all = powerSignals(site)
    known = { mains: all.find((s) => s.quantity === 'present')?.id ?? null, uptime: all.find((s) => s.quantity === 'uptime')?.id ?? null }
    powerKnown.set(site, known)
  }
  return known
}

function mainsOf(state: SiteState | null, nowMs: number): Mains {
  const id = state && powerOf(state.site).mains
  const r = id === null ? undefined : state?.latest.get(id)
  const signal = state?.site.signals.find((s) => s.id === id)
  if (!r || !signal || !r.live || r.value === null || r.quality !== 'good' || nowMs - r.receivedMs > 3 * signal.reportEveryMs + 10_000) return null
  return r.value === 0 ? 'absent' : 'present'
}

const WORDS: Readonly<Record<LoopStateName, string>> = {
  'in-service': 'in service',
  commissioning: 'being commissioned',
  resting: 'resting',
  'out-of-contract': 'out of contract',
  'planned-work': 'being worked on',
  'on-site': 'visited',
}
