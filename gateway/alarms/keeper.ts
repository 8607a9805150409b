/**
 * The shell around the engine: takes readings and ticks in order, writes what changed into the journal, and only then shows
 * and tells it. What people see (`standing`, `alarmsOf`) is what is on disk, never what is merely decided.
 *
 * While the journal is slow, changes wait in a queue of QUEUE_BOUND. When that is full the engine goes quiet: conditions and
 * delays go on, no further changes are made; when there is room again one change per alarm brings the list up to date. So what stands
 * is never forgotten; what came and went in between is counted. While the journal cannot be written at all, nothing is told as
 * done and no person's answer is taken.
 */
import type { Clock } from '../clock.ts'
import type { HistoryReader } from '../history/history.ts'
import type { Counter } from '../port.ts'
import type { Reading } from '../site/reading.ts'
import type { Site } from '../site/site.ts'
import { announces, type ActionResult, type AlarmDef, type AlarmEvent, type AlarmView } from './alarm.ts'
import { createBoard } from './board.ts'
import { catchUp, onReadings, onTick, tellFact } from './engine.ts'
import type { Fact } from './fact-rule.ts'
import { createEngine, viewOf, type Engine, type Now, type Stored, type Told } from './engine-state.ts'
import { FLOOD_WINDOW_MS, watchFloods, type Floods } from './flood.ts'
import { createFollow, type Follow } from './keeper-follow.ts'
import { keepLearnedOf } from './learned-keeper.ts'
import type { LearnedFiles } from './learned.ts'
import type { Life } from './life.ts'
import type { PersonInput } from './life-input.ts'
import { transition } from './lifecycle.ts'
import { act, suppress } from './living.ts'
import { openDelays, relive } from './look-back.ts'
import { mendLife } from './redefine.ts'
import { isHidden, type OutOfServiceRequest, type ShelveRequest, type SuppressedBy } from './overlay.ts'
import { shelfBound } from './shelf-bound.ts'
import { changesSince } from './since.ts'
import type { AlarmJournal, JournalledEvent, JournalQuery } from './journal.ts'

export interface KeeperParts {
  readonly sites: ReadonlyMap<string, Site>
  readonly defs: readonly AlarmDef[]
  readonly journal: AlarmJournal
  readonly clock: Clock
  /** Newest stored reading per key, so that a restart knows what had been heard. */
  readonly latest?: ReadonlyMap<string, Stored>
  /** Where a restart looks for the beginning of delays that were running; without it they begin anew. */
  readonly history?: Pick<HistoryReader, 'range'>
  /** Where rules keep what they have learned; without it they learn anew after every start. */
  readonly learned?: LearnedFiles
  /** Called once per journalled event, in their order, never again after a restart. */
  readonly emit: (event: AlarmEvent, view: AlarmView) => void
  /** Changes that may wait for the journal; for tests. */
  readonly queueBound?: number
}

export interface AlarmKeeper {
  /** Readings in the order they were stored. */
  onReadings(readings: readonly Reading[]): void
  /** About once a second. `heardMs`: our clock when anything last came from the site, null: never. */
  tick(nowMs: number, heardMs: (site: string) => number | null): void
  acknowledge(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  /** Ends a latched alarm that is acknowledged and whose condition has gone. */
  reset(alarm: string, occurrence: string, by: string, note: string | null, version?: number): Promise<ActionResult>
  /** A signal, or a machine with all its signals, was calibrated or replaced: what rules learned of it no longer holds. */
  forget(site: string, about: string): void
  /** The state of a loop lets what is normal be learned, or not. */
  learning(site: string, on: boolean): void
  /** A condition told from outside the readings; false: no alarm of that name waits for one. */
  fact(alarm: string, fact: Fact): boolean
  /** Lets one alarm rest for a while; `version` is the one the person saw, as in the three below. */
  shelve(alarm: string, shelf: ShelveRequest, by: string, version: number): Promise<ActionResult>
  unshelve(alarm: string, by: string, version: number): Promise<ActionResult>
  outOfService(alarm: string, request: OutOfServiceRequest, by: string, version: number): Promise<ActionResult>
  inService(alarm: string, by: string, version: number): Promise<ActionResult>
  /**
   * A rule says that an alarm means nothing for now, or (null) that it does again; one such rule at a time for one alarm. Doubt about
   * the rule's input is null. false: there is no such alarm, or it is the one that starts the rule.
   */
  suppress(alarm: string, by: SuppressedBy | null, atMs: number): boolean
  /** Somebody wrote into the log of the loop or checked in: an answered alarm is not announced again. */
  attended(site: string, atMs: number): void
  /** Alarms that are not normal and that nothing lies over, worst priority first, then newest first. */
  standing(site?: string): readonly AlarmView[]
  /** Shelved, suppressed by design, out of service; the same order. */
  setAside(site?: string): readonly AlarmView[]
  /** Too many at once, per loop and over all, and one alarm at many loops. */
  floods(): Floods
  alarmsOf(site: string): readonly AlarmView[]
  journal(q: JournalQuery): Promise<readonly JournalledEvent[]>
  /**
   * Defines the alarms of these sites anew while they are watched: `defs` are all alarms of `sites`, other sites go on as they are.
   * What has not changed keeps delay, memory and life. `goneNote`: why an alarm is gone, for the journal. Rejects, with nothing
   * changed, when the versions cannot be written down.
   */
  readonly follow: Follow
  /** Definitions at work. */
  defsOf(site: string): readonly AlarmDef[]
  /** Takes in a life rebuilt from the journal; false: changes of it are under way, ask again. */
  mend(alarm: string, life: Life): boolean
  counters(): readonly Counter[]
  /** What is wrong with the alarms themselves, as sentences. */
  troubles(): readonly string[]
  /** Takes nothing more and waits for what is waiting to be written. */
  stop(): Promise<void>
}

const QUEUE_BOUND = 5000
/** Changes in one transaction. */
const BATCH = 500

export async function startAlarmKeeper(parts: KeeperParts): Promise<AlarmKeeper> {
  const { journal, clock, emit } = parts
  const bound = parts.queueBound ?? QUEUE_BOUND
  const now = (nowMs = clock.nowMs()): Now => ({ nowMs, steadyMs: clock.steadyMs() })
  const defs = await journal.register(parts.defs, clock.nowMs())
  await closeOrphans(journal, defs, parts.sites, clock.nowMs())
  const engine = createEngine(defs, parts.sites.values(), now(), journal.lives(), parts.latest)

  const learned = keepLearnedOf(engine.runs.values(), parts.learned, clock.steadyMs())
  const board = createBoard(engine)
  const floods = watchFloods()
  const flooding = (e: AlarmEvent, v: AlarmView): void => {
    if (announces(e.kind) && v.def.priority !== 'alert') floods.announced(e.alarm, e.recordedMs)
    if (v.occurrence === null || isHidden(v)) floods.gone(e.alarm)
  }
  const recent = await journal.query({ fromMs: clock.nowMs() - FLOOD_LOOK_BACK_MS, toMs: Number.MAX_SAFE_INTEGER, limit: FLOOD_LOOK_BACK })
  for (const e of recent.toReversed()) {
    const view = board.view(e.alarm)
    if (view && announces(e.kind)) flooding(e, view)
  }

  const queue: Told[] = []
  let taken = 0
  let written = 0
  let failures = 0
  let tellFailures = 0
  let failing: { readonly sinceMs: number; readonly why: string } | null = null
  let stopped = false
  let busy = false
  let writing: Promise<void> = Promise.resolve()
  let waiters: { readonly upTo: number; readonly done: (ok: boolean) => void }[] = []

  function take(told: readonly Told[]): void {
    for (const t of told) queue.push(t)
    taken += told.length
    if (queue.length >= bound) engine.quiet = true
    if (told.length > 0 && !failing) pump()
  }

  function pump(): void {
    if (busy) return
    busy = true
    writing = write()
  }

  async function write(): Promise<void> {
    while (queue.length > 0) {
      const batch = queue.slice(0, BATCH)
      try {
        await journal.append(batch.map((t) => t.event))
      } catch (e) {
        failures++
        failing = { sinceMs: failing?.sinceMs ?? clock.nowMs(), why: e instanceof Error ? e.message : String(e) }
        busy = false
        answer(false)
        return
      }
      failing = null
      queue.splice(0, batch.length)
      written += batch.length
      for (const t of batch) {
        board.show(t.view)
        flooding(t.event, t.view)
        try {
          emit(t.event, t.view)
        } catch {
          tellFailures++
        }
      }
      answer(true)
      if (engine.quiet && queue.length <= bound / 2) take(catchUp(engine, now()))
    }
    busy = false
  }

  function answer(ok: boolean): void {
    const ready = waiters.filter((w) => !ok || w.upTo <= written)
    waiters = waiters.filter((w) => ok && w.upTo > written)
    for (const w of ready) w.done(ok)
  }

  const reason = (): string => failing?.why ?? 'the journal does not answer'

  type Input = PersonInput extends infer P ? (P extends PersonInput ? Omit<P, 'atMs'> : never) : never

  async function person(alarm: string, input: Input): Promise<ActionResult> {
    const refuse = (code: 'unknown-alarm' | 'not-allowed', message: string): ActionResult => ({ ok: false, code, message })
    if (stopped) return refuse('not-allowed', 'The gateway is stopping: try again when it is back.')
    if (failing)
      return refuse(
        'not-allowed',
        `Not taken, because it cannot be written down: ${failing.why}. The alarm stays as it is; try again when the health page says the journal is well.`,
      )
    if (engine.quiet) return refuse('not-allowed', 'Not taken: too many alarm changes are waiting to be written down. Try again in a moment.')
    const at = now()
    const result = act(engine, alarm, { ...input, atMs: at.nowMs }, at)
    if (!result) return refuse('unknown-alarm', `No alarm "${alarm}" is defined here.`)
    if (result.refused) {
      const { code, message } = result.refused
      const nowVersion = engine.runs.get(alarm)?.life.version ?? 0
      const meanwhile =
        code === 'not-allowed' || input.version === null || input.version >= nowVersion ? null : await changesSince(journal, alarm, input.version, nowVersion, at.nowMs)
      return { ok: false, code, message: meanwhile ?? message }
    }
    take(result.told)
    const ok = written >= taken || (await new Promise<boolean>((done) => waiters.push({ upTo: taken, done })))
    const view = board.view(alarm)
    if (ok && view) return { ok: true, view }
    return refuse('not-allowed', `Not written down yet: ${reason()}. It will be tried again by itself; look at the alarm before you repeat it.`)
  }

  const zoneOf = (site: string): string => parts.sites.get(site)?.zone ?? 'UTC'

  if (parts.history) take(await lookBack(engine, parts.history, now()))

  const room = async (): Promise<void> => {
    while (engine.quiet && !stopped) await new Promise<boolean>((done) => waiters.push({ upTo: taken, done }))
  }
  const follow = createFollow({ engine, journal, sites: parts.sites, now, board, learned, take, room, stopped: () => stopped })

  return {
    follow,
    defsOf: (site) => board.runsOf(site).map((r) => r.def),
    mend(alarm, life) {
      if (queue.some((t) => t.event.alarm === alarm)) return false
      const run = engine.runs.get(alarm)
      if (!run) return true
      mendLife(engine, run, life)
      board.show(viewOf(run))
      return true
    },
    onReadings(readings) {
      if (!stopped) take(onReadings(engine, readings, now()))
    },
    tick(nowMs, heardMs) {
      if (stopped) return
      take(onTick(engine, now(nowMs), heardMs))
      learned.tick(clock.steadyMs())
      if (queue.length > 0) pump()
    },
    fact(alarm, fact) {
      const told = stopped ? null : tellFact(engine, alarm, fact, now())
      if (told) take(told)
      return told !== null
    },
    acknowledge: (alarm, occurrence, by, note, version) => person(alarm, { kind: 'acknowledge', occurrence, by, note, version: version ?? null }),
    reset: (alarm, occurrence, by, note, version) => person(alarm, { kind: 'reset', occurrence, by, note, version: version ?? null }),
    forget: (site, about) => learned.forget(site, about),
    async shelve(alarm, { untilMs, oneShot, reason: why }, by, version) {
      const def = engine.runs.get(alarm)?.def
      const bound = def ? shelfBound(def, zoneOf(def.site), clock.nowMs()) : { latestMs: null, words: '' }
      return person(alarm, { kind: 'shelve', untilMs, oneShot, reason: why, by, version, bound })
    },
    unshelve: (alarm, by, version) => person(alarm, { kind: 'unshelve', by, version }),
    outOfService: (alarm, request, by, version) => person(alarm, { kind: 'out-of-service', ...request, by, version }),
    inService: (alarm, by, version) => person(alarm, { kind: 'in-service', by, version }),
    suppress(alarm, by, atMs) {
      if (stopped) return false
      const told = suppress(engine, alarm, by, now(atMs))
      if (told) take(told)
      return told !== null
    },
    learning(site, on) {
      const teaching = board.runsOf(site)[0]?.site.teaching
      if (teaching) teaching.paused = !on
    },
    attended(site, atMs) {
      const memory = engine.inside.sites.find((s) => s.id === site)
      if (memory) memory.attendedMs = Math.max(memory.attendedMs, atMs)
    },
    standing: (site) => board.standing(site),
    setAside: (site) => board.setAside(site),
    alarmsOf: (site) => board.alarmsOf(site),
    floods: () => floods.now(clock.nowMs()),
    journal: (q) => journal.query(q),
    counters: () => [
      { name: 'alarmRules', value: engine.runs.size, what: 'Alarms that are watched.' },
      { name: 'alarmStanding', value: board.standingCount, what: 'Alarms that are not normal and that nothing lies over.' },
      { name: 'alarmSetAside', value: board.setAsideCount, what: 'Alarms that are shelved, suppressed by design or out of service.' },
      { name: 'alarmEvaluations', value: engine.judged, what: 'Rules judged since the start.' },
      { name: 'alarmReadingsNotLive', value: engine.passedOver, what: 'Readings of alarm signals that were late or retained: stored, but they raise and clear nothing.' },
      { name: 'alarmEvents', value: written, what: 'Alarm changes written into the journal since the start.' },
      {
        name: 'journalWaiting',
        value: queue.length,
        bound,
        what: 'Alarm changes that wait for the journal. When full, changes are merged to one per alarm; none that stands is lost.',
      },
      { name: 'journalMerged', value: engine.merged, what: 'Alarm changes that came and went while the journal was full, and were merged.' },
      { name: 'journalFailures', value: failures, what: 'Times the journal could not be written.' },
      { name: 'learnedNotKept', value: learned.failures(), what: 'Times the disk did not take what the rules of a site have learned.' },
      { name: 'alarmTellFailures', value: tellFailures, what: 'Times a listener failed on an alarm change; the change is in the journal.' },
    ],
    troubles: () => [
      ...(failing
        ? [
            `The alarm journal cannot be written since ${new Date(failing.sinceMs).toISOString()} (${failing.why}). ${queue.length} alarm changes wait and are told to nobody, no answer can be taken: free the disk of the data folder.`,
          ]
        : []),
      ...(engine.quiet ? [`${queue.length} alarm changes wait to be written down, as many as may: further changes are merged until the journal catches up.`] : []),
      ...(tellFailures > 0 ? [`${tellFailures} alarm changes could not be told to a listener; the journal has them.`] : []),
      ...overdue(board.setAside()),
      ...engine.faults,
    ],
    async stop() {
      stopped = true
      learned.keepAll()
      if (queue.length > 0) pump()
      await writing
      answer(false)
    },
  }
}

/** Annunciations looked at again after a restart, so that a flood goes on. */
const FLOOD_LOOK_BACK_MS = 12 * FLOOD_WINDOW_MS
const FLOOD_LOOK_BACK = 20_000

/** Out of service, and nobody has looked at it again by the date that was set. */
function overdue(setAside: readonly AlarmView[]): readonly string[] {
  const late = setAside.filter((v) => v.outOfService?.overdue === true)
  if (late.length === 0) return []
  const names = late.slice(0, 5).map((v) => `"${v.def.what}" at ${v.def.site}, by ${v.outOfService?.by}`)
  const more = late.length > 5 ? ` and ${late.length - 5} more` : ''
  return [`Out of service beyond the date of review: ${names.join('; ')}${more}. Bring it back into service, or set a new date.`]
}

/** Most readings of one signal that are looked at again. */
const LOOK_BACK = 20_000

async function lookBack(engine: Engine, history: Pick<HistoryReader, 'range'>, now: Now): Promise<readonly Told[]> {
  const stored: (Stored & { readonly key: string })[] = []
  for (const { key, fromMs } of openDelays(engine, now)) {
    for (const r of await history.range(key, fromMs, now.nowMs + 86_400_000, LOOK_BACK)) stored.push({ key, ...r })
  }
  return stored.length > 0 ? relive(engine, stored, now) : []
}

/** An occurrence whose alarm is no longer defined would stand for ever: it ends here, in writing. */
async function closeOrphans(journal: AlarmJournal, defs: readonly AlarmDef[], sites: ReadonlyMap<string, Site>, nowMs: number): Promise<void> {
  const defined = new Set(defs.map((d) => d.id))
  const events: AlarmEvent[] = []
  for (const [alarm, life] of journal.lives()) {
    // A site whose file could not be read today is not gone: its alarms wait for it.
    if (defined.has(alarm) || life.occurrence === null || !sites.has(alarm.slice(0, alarm.indexOf('/')))) continue
    const facts = { alarm, latching: false, answerRequired: true, defVersion: 0 }
    events.push(...transition(life, { kind: 'close', atMs: nowMs, note: 'no longer in the site file' }, facts, nowMs).events)
  }
  if (events.length > 0) await journal.append(events)
}
