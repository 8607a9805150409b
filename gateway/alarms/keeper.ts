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
import { PRIORITIES, type ActionResult, type AlarmDef, type AlarmEvent, type AlarmView } from './alarm.ts'
import { act, catchUp, onReadings, onTick } from './engine.ts'
import { createEngine, viewOf, type Engine, type Now, type Stored, type Told } from './engine-state.ts'
import { createFollow, type Follow } from './keeper-follow.ts'
import { openDelays, relive } from './look-back.ts'
import { transition, type Life } from './lifecycle.ts'
import { mendLife } from './redefine.ts'
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
  /** Alarms that are not normal, worst priority first, then newest first. */
  standing(site?: string): readonly AlarmView[]
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

  const shown = new Map<string, AlarmView>()
  const notNormal = new Set<string>()
  const bySite = new Map<string, string[]>()
  for (const [id, run] of engine.runs) {
    show(viewOf(run))
    const list = bySite.get(run.def.site)
    if (list) list.push(id)
    else bySite.set(run.def.site, [id])
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

  function show(view: AlarmView): void {
    shown.set(view.def.id, view)
    if (view.occurrence === null) notNormal.delete(view.def.id)
    else notNormal.add(view.def.id)
  }

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
        show(t.view)
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

  const current = (id: string): AlarmView | null => {
    const view = shown.get(id)
    const run = engine.runs.get(id)
    if (!view || !run) return null
    return view.heldSinceMs === null && run.heldMs !== null ? { ...view, heldSinceMs: run.heldMs } : view
  }

  async function person(kind: 'acknowledge' | 'reset', alarm: string, occurrence: string, by: string, note: string | null, version: number | null): Promise<ActionResult> {
    const refuse = (code: 'unknown-alarm' | 'not-allowed', message: string): ActionResult => ({ ok: false, code, message })
    if (stopped) return refuse('not-allowed', 'The gateway is stopping: try again when it is back.')
    if (failing)
      return refuse(
        'not-allowed',
        `Not taken, because it cannot be written down: ${failing.why}. The alarm stays as it is; try again when the health page says the journal is well.`,
      )
    if (engine.quiet) return refuse('not-allowed', 'Not taken: too many alarm changes are waiting to be written down. Try again in a moment.')
    const at = now()
    const result = act(engine, alarm, { kind, atMs: at.nowMs, occurrence, version, by, note }, at)
    if (!result) return refuse('unknown-alarm', `No alarm "${alarm}" is defined here.`)
    if (result.refused) return { ok: false, ...result.refused }
    take(result.told)
    const ok = written >= taken || (await new Promise<boolean>((done) => waiters.push({ upTo: taken, done })))
    const view = current(alarm)
    if (ok && view) return { ok: true, view }
    return refuse('not-allowed', `Not written down yet: ${reason()}. It will be tried again by itself; look at the alarm before you repeat it.`)
  }

  const rank = (v: AlarmView): number => PRIORITIES.indexOf(v.def.priority)
  const views = (ids: Iterable<string>): AlarmView[] => [...ids].map(current).filter((v) => v !== null)

  if (parts.history) take(await lookBack(engine, parts.history, now()))

  const room = async (): Promise<void> => {
    while (engine.quiet && !stopped) await new Promise<boolean>((done) => waiters.push({ upTo: taken, done }))
  }
  const follow = createFollow({ engine, journal, sites: parts.sites, now, shown, bySite, take, room, stopped: () => stopped })

  return {
    follow,
    defsOf: (site) => (bySite.get(site) ?? []).map((id) => engine.runs.get(id)?.def).filter((d) => d !== undefined),
    mend(alarm, life) {
      if (queue.some((t) => t.event.alarm === alarm)) return false
      const run = engine.runs.get(alarm)
      if (!run) return true
      mendLife(engine, run, life)
      show(viewOf(run))
      return true
    },
    onReadings(readings) {
      if (!stopped) take(onReadings(engine, readings, now()))
    },
    tick(nowMs, heardMs) {
      if (stopped) return
      take(onTick(engine, now(nowMs), heardMs))
      if (queue.length > 0) pump()
    },
    acknowledge: (alarm, occurrence, by, note, version) => person('acknowledge', alarm, occurrence, by, note, version ?? null),
    reset: (alarm, occurrence, by, note, version) => person('reset', alarm, occurrence, by, note, version ?? null),
    standing: (site) =>
      views(notNormal)
        .filter((v) => site === undefined || v.def.site === site)
        .sort((a, b) => rank(a) - rank(b) || (b.raisedMs ?? 0) - (a.raisedMs ?? 0) || (a.def.id < b.def.id ? -1 : 1)),
    alarmsOf: (site) => views(bySite.get(site) ?? []),
    journal: (q) => journal.query(q),
    counters: () => [
      { name: 'alarmRules', value: engine.runs.size, what: 'Alarms that are watched.' },
      { name: 'alarmStanding', value: notNormal.size, what: 'Alarms that are not normal.' },
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
      ...engine.faults,
    ],
    async stop() {
      stopped = true
      if (queue.length > 0) pump()
      await writing
      answer(false)
    },
  }
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
