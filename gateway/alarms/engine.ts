/**
 * All alarms of all sites as one state machine: readings and ticks in, journal events and views out. It knows no clock, no
 * store and no listener; whoever calls it writes the events down before anybody hears of them (keeper.ts).
 *
 * Time. Delays run on event time, the stamp of the instrument. Between readings the present is the newest stamp of the signal
 * plus what the *steady* clock has counted since it got here, so a clock that is set neither fires nor starves a delay
 *. What a tick may do is bounded by evidence:
 *   - a state signal (float, contact) is sent when it changes, so its last value holds: its timer fires when it is due;
 *   - a measured value could still be contradicted by the report that is under way, so its timer waits for that report, and
 *     fires once it is overdue by the link's 10 s. The event carries the due time either way;
 *   - a signal that is stale (three reports + 10 s) or bad proves nothing: timers stand still, the alarm keeps its state.
 * The same readings give the same events whether or when ticks come between them; a tick only tells sooner.
 *
 * The state is changed in place, inside the one `Engine` object: at 8,000 readings/s and a fresh copy per reading most of
 * the time would go into copying. From outside it still reads as state and input in, effects out.
 */
import type { Reading } from '../site/reading.ts'
import { ACTIVE, NORMAL, dueMs, elapse, shiftDelay, stepDelay, type Change, type DelayState } from './delay.ts'
import type { Fact, FactRule } from './fact-rule.ts'
import type { Engine, Entry, Now, Run, Told } from './engine-state.ts'
import { isActive } from './life.ts'
import type { LifeInput } from './life-input.ts'
import { live, ownClaim, reconcile } from './living.ts'
import { doubt, heard, known, learn, learnInterval, LINK_MS, presentOf, usable, type SignalMemory } from './signal-memory.ts'
import { onTimers } from './timers.ts'

/**
 * Judges readings in the order given. Readings of one site with one stamp are one row of a controller: all its values are
 * taken in before any rule looks, so that a rule over two signals never sees half a row. Late and retained readings
 * (`live` false) neither raise nor clear.
 */
export function onReadings(engine: Engine, readings: readonly Reading[], now: Now): readonly Told[] {
  const out: Told[] = []
  const { signals } = engine.inside
  let rowMs = -1
  let rowSite = -1
  for (const r of readings) {
    const entry = signals.get(r.key)
    if (entry === undefined) continue
    if (!r.live) {
      engine.passedOver++
      entry.memory.cameLate = true
      continue
    }
    const m = entry.memory
    if (r.sourceMs !== rowMs || m.site !== rowSite) {
      judgeRow(engine, rowMs, now, out)
      rowMs = r.sourceMs
      rowSite = m.site
    }
    if (known(m) && r.sourceMs - m.sourceMs > m.staleAfterMs) hold(engine, entry, m.sourceMs + m.staleAfterMs, now, out)
    if (usable(r)) {
      learn(m, r.value as number, r.sourceMs, now.steadyMs)
      if (m.computed) learnInterval(m, r.interval)
      if (entry.takers !== null) teach(entry.takers, m, r.sourceMs)
    } else {
      doubt(m, r.sourceMs)
      m.stampMs = r.sourceMs
      m.steadyMs = now.steadyMs
    }
    for (const run of entry.alone) judge(engine, run, r.sourceMs, now, out)
    for (const run of entry.shared) touch(engine, run)
  }
  judgeRow(engine, rowMs, now, out)
  return out
}

/**
 * Lets time pass without readings: delays that are over, signals gone stale, sites gone silent.
 *
 * heardMs  our clock when anything last came from the site, late or not; null: never
 */
export function onTick(engine: Engine, now: Now, heardMs: (site: string) => number | null): readonly Told[] {
  const out: Told[] = []
  if (engine.inside.fresh && !engine.quiet) speakAnew(engine, now, out)
  for (const run of engine.inside.pending) {
    const m = run.rule.restsOn()
    if (run.frozenMs !== null || !m || !known(m)) continue
    const due = dueMs(run.delay, run.delays)
    const nextReportMs = m.kind === 'analogue' ? m.sourceMs + m.reportEveryMs : 0
    if (due <= m.sourceMs + m.staleAfterMs && presentOf(m, now.steadyMs) >= Math.max(due, nextReportMs) + LINK_MS) {
      const step = elapse(run.delay, due, run.delays)
      settle(engine, run, step.state, step.changes, now, out)
    }
  }
  for (const entry of engine.inside.entries) {
    const m = entry.memory
    if (m.heldSinceMs !== null) continue
    if (heard(m)) {
      // The report that would have kept it fresh may still be under way: a tick waits for it as long as a link may take.
      if (now.steadyMs - m.steadyMs > m.staleAfterMs + LINK_MS) hold(engine, entry, m.sourceMs + m.staleAfterMs, now, out)
    } else if (!m.computed && now.steadyMs - entry.since.steadyMs > m.staleAfterMs) {
      neverCame(engine, entry, entry.since.nowMs + m.staleAfterMs, now, out)
    }
  }
  for (const site of engine.inside.sites) {
    const at = heardMs(site.id)
    if (at === site.heardMs) continue
    site.heardMs = at
    site.heardSteadyMs = at === null ? engine.inside.started.steadyMs : now.steadyMs - Math.max(0, now.nowMs - at)
  }
  for (const run of engine.inside.ticked) tickRun(engine, run, now, out)
  onTimers(engine, now, out)
  return out
}

function tickRun(engine: Engine, run: Run, now: Now, out: Told[]): void {
  const { rule } = run.def
  const { site } = run
  engine.judged++
  if (rule.kind === 'fact') {
    tickFact(engine, run, now, out)
    return
  }
  const quietMs = now.steadyMs - site.heardSteadyMs
  const active = run.delay.phase === 'active'
  let change: Change | null = null
  if (rule.kind === 'silent') {
    // After a restart nothing need have been heard yet: that proves neither silence for longer nor a sign of life.
    if (!active && quietMs >= rule.afterMs) change = { kind: 'raise', atMs: (site.heardMs ?? site.sinceMs) + rule.afterMs }
    else if (active && site.heardMs !== null && quietMs < rule.afterMs) change = { kind: 'clear', atMs: site.heardMs }
  } else if (rule.kind === 'blind') {
    const m = run.watched
    if (!m) return
    // A signal that has never come at all is one nobody has connected yet: its alarms show as held, but nobody is called. One that
    // comes and is never live (a clock far behind) is connected, and its alarms are off: that must be told.
    const presentMs = m.stampMs >= 0 ? presentOf(m, now.steadyMs) : m.cameLate ? now.nowMs : Number.NEGATIVE_INFINITY
    if (active) {
      if (known(m)) change = { kind: 'clear', atMs: m.sourceMs }
    } else if (m.heldSinceMs !== null && site.heardMs !== null && quietMs <= site.silentAfterMs && presentMs - m.heldSinceMs >= rule.afterMs) {
      change = { kind: 'raise', atMs: m.heldSinceMs + rule.afterMs }
    }
  }
  if (change) settle(engine, run, change.kind === 'raise' ? ACTIVE : NORMAL, [change], now, out)
}

/** Rules that remember more than the newest value take it in; what they had learned before a restart they are not taught again. */
function teach(takers: readonly Run[], m: SignalMemory, atMs: number): void {
  for (const run of takers) if (atMs > run.learnedToMs) run.rule.take?.(m, atMs)
}

/** A fact told with a delay holds until it is told otherwise: its timer runs on the steady clock from the moment it was told. */
function tickFact(engine: Engine, run: Run, now: Now, out: Told[]): void {
  const told = toldOf(run)?.told()
  if (!told) return
  const step = elapse(run.delay, told.fact.atMs + now.steadyMs - told.steadyMs, run.delays)
  if (step.changes.length > 0) settle(engine, run, step.state, step.changes, now, out)
}

const toldOf = (run: Run): FactRule | null => ('tell' in run.rule ? (run.rule as FactRule) : null)

/** Somebody outside the readings tells a condition. null: no alarm of that name waits for a fact. */
export function tellFact(engine: Engine, alarm: string, fact: Fact, now: Now): readonly Told[] | null {
  const run = engine.runs.get(alarm)
  const rule = run && toldOf(run)
  if (!run || !rule) return null
  const out: Told[] = []
  rule.tell(fact, now.steadyMs)
  engine.judged++
  const step = stepDelay(run.delay, fact.active ? 'violated' : 'cleared', fact.atMs, run.delays)
  settle(engine, run, step.state, step.changes, now, out)
  return out
}

function touch(engine: Engine, run: Run): void {
  const { inside } = engine
  if (run.mark === inside.serial) return
  run.mark = inside.serial
  inside.touched.push(run)
}

function judgeRow(engine: Engine, atMs: number, now: Now, out: Told[]): void {
  const { inside } = engine
  for (const run of inside.touched) judge(engine, run, atMs, now, out)
  inside.touched.length = 0
  inside.serial++
}

/** A signal ceases to be evidence at `atMs`. */
function hold(engine: Engine, entry: Entry, atMs: number, now: Now, out: Told[]): void {
  doubt(entry.memory, atMs)
  for (const run of entry.runs) judge(engine, run, atMs, now, out)
}

/** A signal that has not come since the start has no event time: its alarms are marked as held, their own time does not move. */
function neverCame(engine: Engine, entry: Entry, atMs: number, now: Now, out: Told[]): void {
  doubt(entry.memory, atMs)
  for (const run of entry.runs) {
    if (run.heldMs !== null || run.rule.judge(atMs) !== 'unknown') continue
    run.heldMs = atMs
    live(engine, run, { kind: 'hold', atMs }, now, out)
  }
}

/** Judges one alarm by what its signals say now; `sampleMs`: event time of what made it worth asking. */
export function judge(engine: Engine, run: Run, sampleMs: number, now: Now, out: Told[]): void {
  const { rule } = run
  const atMs = rule.reads.length > 1 ? timeOf(engine, run, sampleMs, now, out) : Math.max(sampleMs, run.atMs)
  run.atMs = atMs
  engine.judged++
  const verdict = rule.judge(atMs)
  if (verdict === 'unknown') {
    freeze(engine, run, atMs, now, out)
    return
  }
  if (run.frozenMs !== null || run.heldMs !== null) {
    if (run.frozenMs !== null) run.delay = shiftDelay(run.delay, atMs - run.frozenMs)
    run.frozenMs = null
    run.heldMs = null
    live(engine, run, { kind: 'release', atMs }, now, out)
  }
  const { phase } = run.delay
  if (verdict === 'violated' ? phase === 'active' : phase === 'normal' || (verdict === 'inside' && phase === 'active')) return
  const before = run.delays
  run.delays = rule.delays()
  const step = stepDelay(run.delay, verdict, atMs, before, run.delays)
  settle(engine, run, step.state, step.changes, now, out)
}

/**
 * The moment at which a rule over several signals is judged, on the clock of the signal it rests on. One of them speaks;
 * the others may have fallen silent unnoticed, or come from an instrument whose clock is far off.
 */
function timeOf(engine: Engine, run: Run, sampleMs: number, now: Now, out: Told[]): number {
  for (const m of run.rule.reads) {
    if (!known(m) || now.steadyMs - m.steadyMs <= m.staleAfterMs + LINK_MS) continue
    const entry = engine.inside.signals.get(m.key)
    if (entry) hold(engine, entry, m.sourceMs + m.staleAfterMs, now, out)
  }
  const m = run.rule.restsOn()
  const presentMs = m && heard(m) ? presentOf(m, now.steadyMs) : sampleMs
  const sameClock = Math.abs(sampleMs - presentMs) <= (m?.staleAfterMs ?? 0)
  return Math.max(sameClock ? sampleMs : presentMs, run.atMs)
}

function freeze(engine: Engine, run: Run, atMs: number, now: Now, out: Told[]): void {
  if (run.frozenMs === null) {
    const step = elapse(run.delay, atMs, run.delays)
    settle(engine, run, step.state, step.changes, now, out)
    run.frozenMs = atMs
  }
  // Nothing is held for want of a signal that has not come yet.
  if (run.heldMs !== null || run.rule.reads.every((m) => m.heldSinceMs === null)) return
  run.heldMs = atMs
  live(engine, run, { kind: 'hold', atMs }, now, out)
}

function settle(engine: Engine, run: Run, state: DelayState, changes: readonly Change[], now: Now, out: Told[]): void {
  run.delay = state
  if (state.phase === 'rising' || state.phase === 'falling') engine.inside.pending.add(run)
  else engine.inside.pending.delete(run)
  for (const c of changes) {
    run.changedMs = c.atMs
    if (engine.quiet) engine.merged++
    else live(engine, run, inputOf(run, c), now, out)
  }
}

function inputOf(run: Run, c: Change): LifeInput {
  const { rule } = run
  const note = toldOf(run)?.told()?.fact.note
  const value = run.def.rule.kind === 'silent' || run.def.rule.kind === 'blind' ? rule.limit : rule.value()
  return c.kind === 'raise'
    ? { kind: 'raise', atMs: c.atMs, value: finite(value), limit: rule.limit, unit: rule.unit, ...(note !== undefined && { note }) }
    : { kind: 'clear', atMs: c.atMs, value: finite(value) }
}

const finite = (v: number | null): number | null => (v !== null && Number.isFinite(v) ? v : null)

/** Brings every life in line with its condition, after a quiet time or a warm-up: what happened in between is one change, nothing that stands is missed. */
export function catchUp(engine: Engine, now: Now): readonly Told[] {
  const out: Told[] = []
  engine.quiet = false
  for (const run of engine.runs.values()) {
    const active = run.delay.phase === 'active' || run.delay.phase === 'falling'
    if (active !== isActive(run.life)) live(engine, run, inputOf(run, { kind: active ? 'raise' : 'clear', atMs: run.changedMs }), now, out)
    if (run.heldMs !== null) live(engine, run, { kind: 'hold', atMs: run.heldMs }, now, out)
    else if (run.frozenMs === null && run.atMs > 0) live(engine, run, { kind: 'release', atMs: run.atMs }, now, out)
  }
  speakAnew(engine, now, out)
  return out
}

/** After a start or a quiet time: what asks for suppression may have changed unseen. */
function speakAnew(engine: Engine, now: Now, out: Told[]): void {
  engine.inside.fresh = false
  for (const run of engine.runs.values()) {
    if (run.spokenForBy.length > 0) run.own = ownClaim(run)
    if (run.own || run.outer || run.life.suppressed) reconcile(engine, run, null, now, out)
  }
}
