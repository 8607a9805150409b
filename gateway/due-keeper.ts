/**
 * Due lists of the loops: worked out for a loop when somebody asks, and by a slow walk round all of them for the page of the fleet. Forecasts and
 * normals come from the outlook, which works on one loop at a time and lets readings go first.
 */
import type { Clock } from './clock.ts'
import { dueOf } from './due/due.ts'
import { proofsOf } from './due/proofs.ts'
import type { SiteLog } from './log/entry.ts'
import type { Counter, GatewayPort, LoopDue, SiteState } from './port.ts'

const HOUR_MS = 3_600_000
/** An answer is given again so long; an entry in the site log ends it. */
const FOR_MS = 5 * 60_000
/** Every loop has had its turn in so long. */
const ROUND_MS = 6 * HOUR_MS
/** The first round after a start is quicker: a list of the fleet that is empty says nothing. */
const FIRST_STEP_MS = 3000
const LEAST_STEP_MS = 1000

export interface DueKeeper extends Pick<GatewayPort, 'due'> {
  everywhere(): readonly LoopDue[]
  /** Somebody wrote into the log of this loop: what was worked out no longer holds. */
  onEntry(site: string): void
  /** Once a second. */
  tick(): void
  counters(): readonly Counter[]
  stop(): void
}

export interface DueParts {
  readonly clock: Clock
  readonly log: SiteLog
  readonly sites: () => readonly SiteState[]
  readonly site: (id: string) => SiteState | null
  readonly gateway: Pick<GatewayPort, 'alarmsOf' | 'vitals' | 'forecasts' | 'normals'>
}

export function startDue(parts: DueParts): DueKeeper {
  const { clock, gateway } = parts
  /** One per loop, replaced, never added to: bounded by the loops there are. */
  const known = new Map<string, LoopDue>()
  const asked = new Map<string, { readonly untilMs: number; readonly answer: Promise<LoopDue> }>()
  let made = 0
  let failed = 0
  let turn = 0
  let busy = false
  let stopped = false
  let nextMs = clock.steadyMs() + 10_000

  const make = async (state: SiteState): Promise<LoopDue> => {
    const { site } = state
    const log = await parts.log.list({ site: site.id, fromMs: 0, toMs: clock.nowMs() + 1, limit: 10_000 })
    const expected = (await gateway.forecasts(site.id))?.expected ?? []
    const normals = (await gateway.normals(site.id))?.normals ?? []
    const nowMs = clock.nowMs()
    const items = dueOf({ site, nowMs, log, expected, normals, latest: state.latest, silent: state.silent, vitals: gateway.vitals(site.id), alarms: gateway.alarmsOf(site.id) })
    const due: LoopDue = { site: site.id, atMs: nowMs, items, proofs: proofsOf(site, log) }
    known.set(site.id, due)
    made++
    return due
  }

  const ask = (state: SiteState): Promise<LoopDue> => {
    const id = state.site.id
    const was = asked.get(id)
    if (was && clock.steadyMs() < was.untilMs) return was.answer
    const answer = make(state)
    asked.set(id, { untilMs: clock.steadyMs() + FOR_MS, answer })
    // A failure is not kept.
    answer.catch(() => {
      failed++
      asked.delete(id)
    })
    return answer
  }

  return {
    async due(id) {
      const state = parts.site(id)
      return state ? ask(state) : null
    },
    everywhere() {
      return parts.sites().flatMap((s) => known.get(s.site.id) ?? [])
    },
    onEntry(site) {
      asked.delete(site)
      // The fleet page must not go on showing as due what was just done.
      const state = known.has(site) ? parts.site(site) : null
      if (state && !stopped) ask(state).catch(() => undefined)
    },
    tick() {
      if (stopped || busy || clock.steadyMs() < nextMs) return
      const all = parts.sites()
      nextMs = clock.steadyMs() + (known.size < all.length ? FIRST_STEP_MS : Math.max(LEAST_STEP_MS, ROUND_MS / Math.max(1, all.length)))
      const state = all[turn++ % Math.max(1, all.length)]
      if (!state) return
      busy = true
      void ask(state)
        .catch(() => undefined)
        .finally(() => (busy = false))
    },
    counters: () => [
      { name: 'dueLists', value: known.size, what: 'Loops whose due list has been worked out since start; the page of the fleet shows these.' },
      { name: 'dueListsMade', value: made, what: 'Due lists worked out since start, one loop each.' },
      { name: 'dueListsFailed', value: failed, what: 'Times a due list could not be worked out; it is tried again in the next round.' },
    ],
    stop() {
      stopped = true
    },
  }
}
