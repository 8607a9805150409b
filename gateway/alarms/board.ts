/**
 * What people see of all alarms: what is on disk, never what is merely decided. Only alarms something has happened to are kept
 * here; a quiet one is made from its definition when somebody asks.
 */
import { PRIORITIES, type AlarmView } from './alarm.ts'
import { viewOf, type Engine, type Run } from './engine-state.ts'
import { BORN } from './life.ts'
import { isHidden } from './overlay.ts'

export interface Board {
  /** Takes what has just been written. */
  show(view: AlarmView): void
  view(alarm: string): AlarmView | null
  alarmsOf(site: string): readonly AlarmView[]
  /** Not normal and nothing over it, worst priority first, then newest first. */
  standing(site?: string): readonly AlarmView[]
  /** Shelved, suppressed or out of service, whatever its own state; the same order. */
  setAside(site?: string): readonly AlarmView[]
  /** Alarms of a loop at work. */
  runsOf(site: string): readonly Run[]
  /** The alarms of a loop were defined anew. */
  redefined(site: string, runs: readonly Run[]): void
  readonly standingCount: number
  readonly setAsideCount: number
}

export function createBoard(engine: Engine): Board {
  const shown = new Map<string, AlarmView>()
  const standing = new Set<string>()
  const setAside = new Set<string>()
  const bySite = new Map<string, readonly Run[]>()
  /** Per site: alarms in trouble, and the one that was first. */
  const troubled = new Map<string, Set<string>>()
  const firstOf = new Map<string, string>()

  function show(view: AlarmView): void {
    const { id, site, priority } = view.def
    shown.set(id, view)
    const hidden = isHidden(view)
    const stands = view.occurrence !== null && !hidden
    if (stands) standing.add(id)
    else standing.delete(id)
    if (hidden) setAside.add(id)
    else setAside.delete(id)
    if (priority === 'alert') return
    if (view.firstOut) firstOf.set(site, id)
    const mine = troubled.get(site) ?? new Set()
    if (stands) troubled.set(site, mine.add(id))
    else if (mine.delete(id) && mine.size === 0) firstOf.delete(site)
  }

  const lists = new Map<string, Run[]>()
  for (const run of engine.runs.values()) {
    if (run.life !== BORN) show(viewOf(run))
    const mine = lists.get(run.def.site)
    if (mine) mine.push(run)
    else lists.set(run.def.site, [run])
  }
  for (const [site, runs] of lists) bySite.set(site, runs)

  function view(id: string): AlarmView | null {
    const run = engine.runs.get(id)
    if (!run) return null
    const last = shown.get(id) ?? viewOf({ ...run, life: BORN })
    // What happened to it is shown when it is written down; what it is, at once.
    const v = last.def === run.def ? last : { ...last, def: run.def, ...(last.occurrence === null && { limit: run.rule.limit, unit: run.rule.unit }) }
    const firstOut = firstOf.get(v.def.site) === id
    const heldSinceMs = v.heldSinceMs ?? run.heldMs
    return v.firstOut === firstOut && v.heldSinceMs === heldSinceMs ? v : { ...v, firstOut, heldSinceMs }
  }

  const rank = (v: AlarmView): number => PRIORITIES.indexOf(v.def.priority)
  const listed = (ids: Iterable<string>, site: string | undefined): readonly AlarmView[] =>
    [...ids]
      .map(view)
      .filter((v) => v !== null)
      .filter((v) => site === undefined || v.def.site === site)
      .sort((a, b) => rank(a) - rank(b) || (b.raisedMs ?? 0) - (a.raisedMs ?? 0) || (a.def.id < b.def.id ? -1 : 1))

  return {
    show,
    view,
    alarmsOf: (site) => (bySite.get(site) ?? []).map((r) => view(r.def.id)).filter((v) => v !== null),
    standing: (site) => listed(standing, site),
    setAside: (site) => listed(setAside, site),
    runsOf: (site) => bySite.get(site) ?? [],
    redefined: (site, runs) => void bySite.set(site, runs),
    get standingCount() {
      return standing.size
    },
    get setAsideCount() {
      return setAside.size
    },
  }
}
