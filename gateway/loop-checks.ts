/**
 * Runs the checks after a visit and after a power cut: reads the hour before from the history, follows what comes in, tells what is not back
 * as a fact of its alarm. A check goes on until nothing more is to come of it; one that has found something goes on until it runs again.
 */
import type { Fact } from './alarms/fact-rule.ts'
import { POWER, POWER_AIR, VISIT, VISIT_AIR } from './alarms/defaults-visit.ts'
import { holdMs, type Sample } from './alarms/run-evidence.ts'
import { CHECK_ENDS_MS, checkSignals, isOver, judgeCheck, newSeen, notBack, planCheck, see, undecided, type CheckLine, type CheckPlan, type Seen } from './alarms/visit-check.ts'
import type { Clock } from './clock.ts'
import type { HistoryReader } from './history/history.ts'
import type { CheckView } from './port.ts'
import { keyOf, signalOfKey, siteOfKey, type Reading } from './site/reading.ts'
import type { Signal, Site } from './site/site.ts'

const HOUR_MS = 3_600_000
/** Readings of one signal that are looked at. */
const MOST = 20_000
const EVERY_MS = 5000

export interface Checks {
  /** Begins one, in place of one of its kind that runs. toMs: end of the hour it is compared with. Rejects when the history cannot be read. */
  open(kind: CheckPlan['kind'], site: Site, toMs: number, sinceMs: number): Promise<void>
  of(site: string): readonly CheckView[]
  /** End of the hour an unfinished check of the kind compares with; null: none, or nothing is left open. */
  unfinishedToMs(site: string, kind: CheckPlan['kind']): number | null
  onReadings(readings: readonly Reading[]): void
  /** Once a second. */
  tick(): void
  /** Loops that have left: their checks end. */
  follow(has: (site: string) => boolean): void
}

export interface CheckParts {
  readonly clock: Clock
  readonly history: Pick<HistoryReader, 'range'>
  readonly fact: (alarm: string, fact: Fact) => boolean
  /** When anything last came from a site, our clock. */
  readonly heardMs: (site: string) => number | null
  readonly changed: (site: string) => void
}

interface Running {
  readonly site: string
  readonly plan: CheckPlan
  readonly seen: Seen
  readonly begunMs: number
  lines: readonly CheckLine[]
  over: boolean
}

export function startChecks(parts: CheckParts): Checks {
  const { clock } = parts
  const running = new Map<string, Running>()
  /** Readings that come while the past of a check is read. */
  const waiting = new Map<string, Reading[]>()
  const facts = new Map<string, boolean>()
  let nextMs = 0

  const id = (site: string, kind: CheckPlan['kind']): string => `${kind} ${site}`

  const usable = (r: Pick<Reading, 'value' | 'quality' | 'sourceMs'>): Sample | null => (r.value === null || r.quality === 'bad' ? null : { atMs: r.sourceMs, value: r.value })
  const read = async (site: Site, s: Signal, fromMs: number, toMs: number): Promise<readonly Sample[]> =>
    (await parts.history.range(keyOf(site.id, s.id), Math.max(0, Math.floor(fromMs)), Math.ceil(toMs), MOST)).map(usable).filter((x) => x !== null)

  function judge(r: Running, nowMs: number): void {
    const lines = judgeCheck(r.plan, r.seen, nowMs)
    const over = isOver(r.plan, lines, nowMs, r.begunMs)
    const was = JSON.stringify([r.lines, r.over])
    r.lines = lines
    r.over = over
    tellFacts(r, nowMs)
    if (JSON.stringify([lines, over]) !== was) parts.changed(r.site)
  }

  function tellFacts(r: Running, nowMs: number): void {
    const [airKey, key] = r.plan.kind === 'visit' ? [VISIT_AIR, VISIT] : [POWER_AIR, POWER]
    for (const [k, air] of [
      [airKey, true],
      [key, false],
    ] as const) {
      const alarm = `${r.site}/${k}`
      const gone = notBack(r.lines, air)
      const active = gone.length > 0
      if (facts.get(alarm) === active || (!active && !r.over && undecided(r.lines, air))) continue
      facts.set(alarm, active)
      const dueMs = Math.min(nowMs, ...gone.map((l) => l.dueMs ?? nowMs))
      parts.fact(alarm, {
        active,
        atMs: active ? dueMs : nowMs,
        value: gone.length,
        unit: '{count}',
        note: gone
          .map((l) => `${l.name}: ${l.why}`)
          .join('; ')
          .slice(0, 500),
      })
    }
  }

  return {
    async open(kind, site, toMs, sinceMs) {
      const key = id(site.id, kind)
      const early: Reading[] = []
      waiting.set(key, early)
      try {
        const signals = checkSignals(site)
        const before = new Map<string, readonly Sample[]>()
        for (const s of signals) before.set(s.id, await read(site, s, toMs - HOUR_MS - holdMs(s), toMs))
        const whole = planCheck(kind, site, before, toMs, sinceMs)
        const seen = newSeen()
        // After a restart only the newest hours are read: that it was heard is known all the same.
        const heardMs = parts.heardMs(site.id)
        if (heardMs !== null && heardMs > sinceMs) seen.heardMs = heardMs
        const fromMs = Math.max(sinceMs, clock.nowMs() - CHECK_ENDS_MS)
        // What ran now and then may have run in the hours that are not read: only what must run now can still be missed.
        const plan = fromMs > sinceMs ? { ...whole, items: whole.items.filter((i) => i.steady || i.part === 'air') } : whole
        for (const s of signals) for (const x of await read(site, s, fromMs - holdMs(s), clock.nowMs() + 1)) see(plan, seen, s.id, x)
        // A later one of the kind may have begun while this one was read.
        if (waiting.get(key) !== early) return
        for (const r of early) {
          const x = usable(r)
          if (x) see(plan, seen, signalOfKey(r.key), x)
        }
        const r: Running = { site: site.id, plan, seen, begunMs: clock.nowMs(), lines: [], over: false }
        running.set(key, r)
        judge(r, clock.nowMs())
      } finally {
        if (waiting.get(key) === early) waiting.delete(key)
      }
    },
    of: (site) =>
      (['visit', 'power'] as const).flatMap((kind) => {
        const r = running.get(id(site, kind))
        return r ? [{ kind, fromMs: r.plan.fromMs, toMs: r.plan.toMs, sinceMs: r.plan.sinceMs, over: r.over, lines: r.lines, atRest: r.plan.atRest }] : []
      }),
    unfinishedToMs(site, kind) {
      const r = running.get(id(site, kind))
      return r && !r.over && r.lines.some((l) => l.outcome === 'not-seen' || l.outcome === 'not-yet') ? r.plan.toMs : null
    },
    onReadings(readings) {
      if (running.size === 0 && waiting.size === 0) return
      for (const reading of readings) {
        const site = siteOfKey(reading.key)
        for (const kind of ['visit', 'power'] as const) {
          const key = id(site, kind)
          const early = waiting.get(key)
          if (early && early.length < MOST) early.push(reading)
          const r = running.get(key)
          const x = r && !r.over ? usable(reading) : null
          if (r && x) see(r.plan, r.seen, signalOfKey(reading.key), x)
        }
      }
    },
    tick() {
      if (clock.steadyMs() < nextMs) return
      nextMs = clock.steadyMs() + EVERY_MS
      const nowMs = clock.nowMs()
      for (const r of running.values()) if (!r.over) judge(r, nowMs)
    },
    follow(has) {
      for (const [key, r] of running) if (!has(r.site)) running.delete(key)
    },
  }
}
