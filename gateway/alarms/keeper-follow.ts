/**
 * Re-definition of alarms while the keeper runs: versions first (in the journal's registry), then the engine, then what people see. One
 * after the other, loop by loop; while changes wait for a slow journal it waits for room, so that no end of an occurrence gets lost.
 */
import type { Site } from '../site/site.ts'
import type { AlarmDef } from './alarm.ts'
import type { Board } from './board.ts'
import type { Engine, Now, Told } from './engine-state.ts'
import type { AlarmJournal } from './journal.ts'
import type { LearnedKeeper } from './learned-keeper.ts'
import type { Life } from './life.ts'
import { redefine } from './redefine.ts'

/** What the keeper lends. */
export interface FollowParts {
  readonly engine: Engine
  readonly journal: AlarmJournal
  /** Sites as their alarms are defined now. */
  readonly sites: ReadonlyMap<string, Site>
  readonly now: () => Now
  readonly board: Pick<Board, 'runsOf' | 'redefined'>
  readonly learned: Pick<LearnedKeeper, 'redefined'>
  readonly take: (told: readonly Told[]) => void
  /** There is room for changes again, or the keeper has stopped. */
  readonly room: () => Promise<void>
  readonly stopped: () => boolean
}

/** As AlarmKeeper.follow. */
export type Follow = (defs: readonly AlarmDef[], sites: ReadonlyMap<string, Site>, goneNote?: (alarm: string) => string) => Promise<void>

const GONE = 'no longer in the site file'
/** Loops re-defined before readings have their turn. */
const AT_ONCE = 20

export function createFollow(parts: FollowParts): Follow {
  const { engine, journal, board } = parts
  const sites = new Map(parts.sites)
  /** Alarms that are gone may come back: the journal may not have their end yet. */
  const departed = new Map<string, Life>()
  let line: Promise<void> = Promise.resolve()

  function one(site: Site, defs: readonly AlarmDef[], goneNote: (alarm: string) => string): void {
    const runs = board.runsOf(site.id)
    const lifeOf = (id: string): Life | undefined => departed.get(id) ?? journal.lives().get(id)
    const { told, gone } = redefine(engine, { was: sites.get(site.id) ?? null, site, defs, runs, lifeOf, goneNote }, parts.now())
    sites.set(site.id, site)
    const there = defs.map((d) => engine.runs.get(d.id)).filter((r) => r !== undefined)
    board.redefined(site.id, there)
    parts.learned.redefined(site.id, there)
    for (const run of there) departed.delete(run.def.id)
    for (const [id, life] of gone) departed.set(id, life)
    parts.take(told)
  }

  async function all(defs: readonly AlarmDef[], changed: ReadonlyMap<string, Site>, goneNote: (alarm: string) => string): Promise<void> {
    if (parts.stopped()) return
    const defsOf = new Map([...changed.keys()].map((id): [string, AlarmDef[]] => [id, []]))
    for (const def of await journal.register(defs, parts.now().nowMs)) defsOf.get(def.site)?.push(def)
    let done = 0
    for (const site of changed.values()) {
      await parts.room()
      if (parts.stopped()) return
      one(site, defsOf.get(site.id) ?? [], goneNote)
      if (++done % AT_ONCE === 0) await new Promise((next) => setImmediate(next))
    }
  }

  return (defs, changed, goneNote = () => GONE) => {
    const mine = line.then(() => all(defs, changed, goneNote))
    line = mine.catch(() => undefined)
    return mine
  }
}
