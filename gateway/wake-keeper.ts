/**
 * The wake rule at work: every standing alarm is judged when it is raised, when it changes, and again every 10 min, because the desk comes nearer
 * and harm does too. What it says now is kept in memory only: it follows from the alarm, the loop and the clock, so a restart judges again.
 */
import type { AlarmEvent, AlarmView } from './alarms/alarm.ts'
import { harmOf, nextOpen, threatOf, type AirFacts } from './alarms/harm.ts'
import { isHidden } from './alarms/overlay.ts'
import { judgeWake, type WakeNote } from './alarms/wake.ts'
import type { Clock } from './clock.ts'
import type { SiteState } from './port.ts'
import { within } from './site/site.ts'
import type { Explanation } from './vitals/vital.ts'

/** What the state of a loop means for waking. */
export interface LoopSays {
  /** Name of whoever is on site and has its alarms. */
  readonly onSite: string | null
  /** Why nobody is woken for it. */
  readonly asleep: string | null
}

export interface WakeParts {
  readonly clock: Clock
  readonly standing: () => readonly AlarmView[]
  readonly alarmsOf: (site: string) => readonly AlarmView[]
  readonly site: (id: string) => SiteState | null
  readonly vitals: (site: string) => readonly Explanation[]
  readonly loopSays: (site: string) => LoopSays
  /** The verdict of an alarm is another than before. */
  readonly onVerdict: (view: AlarmView, note: WakeNote) => void
}

export interface WakeKeeper {
  onAlarm(event: AlarmEvent, view: AlarmView): void
  /** The state of a loop has changed. */
  onLoop(site: string): void
  /** null: the alarm does not stand. */
  of(alarm: string): WakeNote | null
  tick(): void
}

const AGAIN_MS = 10 * 60_000
const UNKNOWN_AIR: AirFacts = { toShortMin: null, celsius: null }

export function createWakeKeeper(parts: WakeParts): WakeKeeper {
  const notes = new Map<string, WakeNote>()
  let dueMs = Number.NEGATIVE_INFINITY

  const judge = (view: AlarmView): void => {
    // Nobody is told of what is shelved, suppressed or out of service.
    const stands = view.occurrence !== null && view.state !== 'normal' && view.state !== 'returned' && !isHidden(view)
    const before = notes.get(view.def.id) ?? null
    if (!stands) {
      notes.delete(view.def.id)
      return
    }
    const note = noteOf(view, parts, before)
    if (!note) return
    notes.set(view.def.id, note)
    if (before?.verdict !== note.verdict) parts.onVerdict(view, note)
  }
  return {
    onAlarm(event, view) {
      // A new occurrence has nothing to do with what was reckoned for the one before.
      if (event.kind === 'raised') notes.delete(view.def.id)
      judge(view)
    },
    onLoop(site) {
      for (const view of parts.alarmsOf(site)) judge(view)
    },
    of: (alarm) => notes.get(alarm) ?? null,
    tick() {
      const now = parts.clock.steadyMs()
      if (now < dueMs) return
      dueMs = now + AGAIN_MS
      for (const view of parts.standing()) judge(view)
    },
  }
}

function noteOf(view: AlarmView, parts: WakeParts, before: WakeNote | null): WakeNote | null {
  const state = parts.site(view.def.site)
  if (!state || view.raisedMs === null) return null
  const { site } = state
  const { def } = view
  const nowMs = parts.clock.nowMs()
  const threat = threatOf(def)
  const gapMs = def.rule.kind === 'silent' || def.rule.kind === 'blind' ? def.rule.afterMs : 0
  const says = parts.loopSays(site.id)
  const staffedNow = site.staffed.length === 0 ? null : within(site.staffed, site.zone, nowMs, false)
  const harm = harmOf({
    threat,
    sinceMs: view.raisedMs - gapMs,
    nowMs,
    respondWithinMin: def.respondWithinMin,
    // Vitals are dear to ask for, and only what is without air needs them.
    air: threat === 'septic' || threat === 'blind' ? airOf(def.stage, state, parts.vitals(site.id)) : UNKNOWN_AIR,
    site,
    beforeLowMs: before?.harm.lowMs ?? null,
  })
  const judgement = judgeWake({
    nowMs,
    priority: def.priority,
    exempt: threat === 'people' || threat === 'release' ? threat : null,
    harm: { lowMs: harm.lowMs, highMs: harm.highMs },
    blind: threat === 'blind' ? { abnormalBefore: parts.alarmsOf(site.id).some((v) => troubles(v, view)) } : null,
    driveMin: site.reach.driveMin,
    yardMin: site.yardPhone !== null && staffedNow === true ? site.reach.yardMin : null,
    deskMs: nextOpen(site.reach.desk, site.zone, nowMs),
    onSite: says.onSite,
    asleep: says.asleep,
  })
  return { ...judgement, harmFrom: harm.from, staffedNow, yardPhone: site.yardPhone }
}

/** Trouble that stood before we went blind and that nobody can see getting worse. */
const troubles = (v: AlarmView, blind: AlarmView): boolean =>
  v.def.id !== blind.def.id &&
  threatOf(v.def) !== 'blind' &&
  (v.def.priority === 'high' || v.def.priority === 'medium') &&
  (v.state === 'unacknowledged' || v.state === 'acknowledged') &&
  (v.raisedMs ?? 0) <= (blind.raisedMs ?? 0)

/** The tank the alarm names, or else the one that is short first. */
function airOf(stage: string | null, state: SiteState, vitals: readonly Explanation[]): AirFacts {
  const left = vitals.filter((v) => v.def.id.endsWith('.do.time-left') && v.outcome.kind === 'told')
  const own = left.filter((v) => v.def.tank === stage)
  const spans = (own.length > 0 ? own : left).flatMap((v) => (v.outcome.kind === 'told' ? [v.outcome.interval ?? { low: v.outcome.value, high: null }] : []))
  const [first] = spans.toSorted((a, b) => a.low - b.low)
  const water = state.site.signals.filter((s) => s.quantity === 'temperature' && state.site.stages.some((t) => t.id === s.at))
  const at = water.find((s) => s.at === stage) ?? water[0]
  const r = at && state.latest.get(at.id)
  return { toShortMin: first ?? null, celsius: r && r.quality !== 'bad' && r.value !== null ? r.value : null }
}
