/** Tells the alarms, once a minute, what intake sees of each site: a clock that is wrong, too much refused. */
import type { AlarmKeeper } from './alarms/keeper.ts'
import { CLOCK, QUARANTINE } from './alarms/defaults-link.ts'
import { clockFact, refusedFact, type Judged, type LinkSeen } from './alarms/link-fact.ts'
import type { Clock } from './clock.ts'

const EVERY_MS = 60_000

export interface LinkFacts {
  /** About once a second. */
  tick(): void
}

export interface LinkFactParts {
  readonly clock: Clock
  readonly alarms: Pick<AlarmKeeper, 'fact' | 'alarmsOf'>
  readonly links: () => readonly (LinkSeen & { readonly site: string })[]
}

export function startLinkFacts({ clock, alarms, links }: LinkFactParts): LinkFacts {
  /** What each alarm was last told. */
  const told = new Map<string, boolean>()
  let nextMs = clock.steadyMs()

  /** After a start the journal knows what stood. */
  const stands = (site: string, alarm: string): boolean =>
    told.get(alarm) ?? alarms.alarmsOf(site).some((v) => v.def.id === alarm && v.raisedMs !== null && v.clearedMs === null && v.occurrence !== null)

  const tell = (alarm: string, judged: Judged | null): void => {
    if (judged === null) return
    const { active, value, unit, note } = judged
    // Told again while it holds, so that the figure is fresh; its delay runs on from the first time.
    if (!active && told.get(alarm) === false) return
    told.set(alarm, active)
    alarms.fact(alarm, { active, atMs: clock.nowMs(), value, unit, ...(note !== '' && { note }) })
  }

  return {
    tick() {
      if (clock.steadyMs() < nextMs) return
      nextMs = clock.steadyMs() + EVERY_MS
      for (const link of links()) {
        const [c, q] = [`${link.site}/${CLOCK}`, `${link.site}/${QUARANTINE}`]
        tell(c, clockFact(link, stands(link.site, c)))
        tell(q, refusedFact(link, stands(link.site, q)))
      }
    },
  }
}
