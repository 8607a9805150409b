/** Sees to it that what rules have learned is on disk: every site is written once within ten minutes, in turn, and all of them at the end. */
import type { Run } from './engine-state.ts'
import { forgetLearned, keepLearned, resumeLearned, type LearnedFiles } from './learned.ts'

const WITHIN_MS = 600_000

export interface LearnedKeeper {
  /** About once a second. */
  tick(steadyMs: number): void
  /** A signal, or a machine with all its signals, was calibrated or replaced. */
  forget(site: string, about: string): void
  /** The alarms of a loop were defined anew: what those that went on had learned they have still. */
  redefined(site: string, runs: readonly Run[]): void
  keepAll(): void
  /** Times the disk did not take it. */
  failures(): number
}

const learns = (run: Run): boolean => run.rule.learned !== undefined && run.rule.learned.length > 0

export function keepLearnedOf(runs: Iterable<Run>, files: LearnedFiles | undefined, steadyMs: number): LearnedKeeper {
  const bySite = new Map<string, Run[]>()
  for (const run of runs) {
    if (!learns(run)) continue
    const mine = bySite.get(run.def.site)
    if (mine) mine.push(run)
    else bySite.set(run.def.site, [run])
  }
  let sites = [...bySite]
  for (const [site, mine] of sites) {
    const kept = files?.read(site)
    if (kept) resumeLearned(mine, kept)
  }
  let failures = 0
  let next = 0
  let dueMs = steadyMs + WITHIN_MS
  const keep = (site: string, mine: readonly Run[]): void => {
    if (files && !files.write(site, keepLearned(mine))) failures++
  }
  return {
    tick(now) {
      if (sites.length === 0 || now < dueMs) return
      const every = WITHIN_MS / sites.length
      for (let i = 0; i < sites.length && dueMs <= now; i++) {
        const [site, mine] = sites[next % sites.length] as [string, Run[]]
        keep(site, mine)
        next++
        dueMs += every
      }
      // After a pause of the machine nobody catches up on rounds that were missed.
      if (dueMs <= now) dueMs = now + every
    },
    forget(site, about) {
      const mine = bySite.get(site) ?? []
      forgetLearned(mine, `${site}/${about}`)
      keep(site, mine)
    },
    redefined(site, now) {
      const mine = now.filter(learns)
      if (mine.length > 0) bySite.set(site, mine)
      else bySite.delete(site)
      sites = [...bySite]
    },
    keepAll() {
      for (const [site, mine] of sites) keep(site, mine)
    },
    failures: () => failures,
  }
}
