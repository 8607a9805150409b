/**
 * Too many alarms at once (ALM-12, ALM-57). A flood begins with the 11th annunciation within 10 minutes and ends when fewer than 5
 * lie in the last 10 (common practice, no source), per loop and over all loops together. The same alarm at five loops within 10
 * minutes is one story (a network, a power cut, the weather, us) and is told as one group. Nothing is ever taken out of a list.
 *
 * Pure: told what was announced and what stands no longer, asked at a time. Times are those of annunciation, ms.
 */
export const FLOOD_WINDOW_MS = 10 * 60_000
/** More than this many begin a flood. */
export const FLOOD_BEGINS_ABOVE = 10
/** Fewer than this many end it. */
export const FLOOD_ENDS_BELOW = 5
/** The same alarm at this many loops is a group. */
export const GROUP_FROM = 5

export interface Flood {
  /** null: all loops together. */
  readonly site: string | null
  readonly sinceMs: number
  /** Annunciations since it began, those that began it counted. */
  readonly count: number
  /** Most in any 10 minutes. */
  readonly peak: number
  /** In the last 10 minutes. */
  readonly lately: number
  /** The first announced of those that began it. */
  readonly firstAlarm: string
  readonly firstMs: number
}

/** One alarm at many loops. */
export interface Group {
  /** What their ids have in common: what follows the loop. */
  readonly rule: string
  readonly sites: readonly string[]
  readonly firstAlarm: string
  readonly sinceMs: number
  readonly latestMs: number
}

export interface Floods {
  readonly fleet: Flood | null
  /** The heaviest first. */
  readonly sites: readonly Flood[]
  /** The largest first. */
  readonly groups: readonly Group[]
}

interface Told {
  readonly alarm: string
  readonly atMs: number
}

/** Annunciations of one loop, or of all. */
interface Window {
  lately: Told[]
  flood: { sinceMs: number; count: number; peak: number; first: Told } | null
}

export interface FloodWatch {
  announced(alarm: string, atMs: number): void
  /** It is normal again, or something lies over it. */
  gone(alarm: string): void
  now(nowMs: number): Floods
}

/** `rule` and `site` of an alarm id `<site>/<rule>`. */
const siteOf = (alarm: string): string => alarm.slice(0, alarm.indexOf('/'))
const ruleOf = (alarm: string): string => alarm.slice(alarm.indexOf('/') + 1)

export function watchFloods(): FloodWatch {
  const fleet: Window = { lately: [], flood: null }
  const sites = new Map<string, Window>()
  /** rule -> site -> when its alarm, which stands, was announced; and the rules that are told as a group. */
  const standing = new Map<string, Map<string, number>>()
  const groups = new Map<string, Set<string>>()

  function regroup(rule: string): void {
    const at = standing.get(rule) ?? new Map<string, number>()
    const members = groups.get(rule)
    if (members) {
      for (const site of members) if (!at.has(site)) members.delete(site)
      const latest = Math.max(...[...members].map((s) => at.get(s) ?? 0))
      for (const [site, ms] of at) if (ms - latest < FLOOD_WINDOW_MS && latest - ms < FLOOD_WINDOW_MS) members.add(site)
      // Half as many as begin one end it, so that a group does not flicker.
      if (members.size < GROUP_FROM / 2) groups.delete(rule)
      return
    }
    if (at.size < GROUP_FROM) return
    const newest = Math.max(...at.values())
    const near = [...at].filter(([, ms]) => newest - ms < FLOOD_WINDOW_MS).map(([site]) => site)
    if (near.length >= GROUP_FROM) groups.set(rule, new Set(near))
  }

  return {
    announced(alarm, atMs) {
      const site = siteOf(alarm)
      let mine = sites.get(site)
      if (!mine) sites.set(site, (mine = { lately: [], flood: null }))
      take(fleet, { alarm, atMs })
      take(mine, { alarm, atMs })
      const rule = ruleOf(alarm)
      const at = standing.get(rule) ?? new Map<string, number>()
      standing.set(rule, at)
      at.set(site, atMs)
      regroup(rule)
    },
    gone(alarm) {
      const rule = ruleOf(alarm)
      const at = standing.get(rule)
      if (!at?.delete(siteOf(alarm))) return
      regroup(rule)
      if (at.size === 0) standing.delete(rule)
    },
    now(nowMs) {
      pass(fleet, nowMs)
      for (const [site, w] of sites) {
        pass(w, nowMs)
        if (w.lately.length === 0) sites.delete(site)
      }
      return {
        fleet: floodOf(null, fleet),
        sites: [...sites].flatMap(([site, w]) => floodOf(site, w) ?? []).sort((a, b) => b.lately - a.lately || (a.site ?? '').localeCompare(b.site ?? '')),
        groups: [...groups].map(([rule, members]) => groupOf(rule, members, standing.get(rule) ?? new Map())).sort((a, b) => b.sites.length - a.sites.length),
      }
    },
  }
}

/** Lets go what is older than the window, and a flood with it. */
function pass(w: Window, nowMs: number): void {
  if (w.lately.length > 0) w.lately = w.lately.filter((t) => nowMs - t.atMs < FLOOD_WINDOW_MS)
  if (w.flood && w.lately.length < FLOOD_ENDS_BELOW) w.flood = null
}

function take(w: Window, told: Told): void {
  pass(w, told.atMs)
  w.lately.push(told)
  const n = w.lately.length
  if (w.flood) {
    w.flood.count++
    w.flood.peak = Math.max(w.flood.peak, n)
  } else if (n > FLOOD_BEGINS_ABOVE) {
    w.flood = { sinceMs: told.atMs, count: n, peak: n, first: w.lately[0] ?? told }
  }
}

const floodOf = (site: string | null, { flood, lately }: Window): Flood | null =>
  flood && { site, sinceMs: flood.sinceMs, count: flood.count, peak: flood.peak, lately: lately.length, firstAlarm: flood.first.alarm, firstMs: flood.first.atMs }

function groupOf(rule: string, members: ReadonlySet<string>, at: ReadonlyMap<string, number>): Group {
  const order = [...members].sort((a, b) => (at.get(a) ?? 0) - (at.get(b) ?? 0) || (a < b ? -1 : 1))
  const times = order.map((s) => at.get(s) ?? 0)
  return { rule, sites: order, firstAlarm: `${order[0]}/${rule}`, sinceMs: times[0] ?? 0, latestMs: times[times.length - 1] ?? 0 }
}
