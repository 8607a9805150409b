/**
 * How good alarms are, from what was planted and what was told. Pure. Definitions:
 *
 *   found           an annunciation or due item (alert) that names the fault was told after its onset and while telling still helped
 *   delay           from onset to that telling
 *   false           no planted fault explains it: outside every span of a fault that it names or may follow from; a look-alike explains
 *                   only what it says it may bring
 *   wake            see wake.ts; it is false when nothing in it is explained
 *   call            an annunciation that rings while the desk is staffed, as far as it did not wake somebody later
 *   day-list item   an annunciation that wakes nobody and is no alert, calls among them; one per alarm and day
 *   chatter         an alarm that is annunciated for the third time, or more, within 60 min (ISA-18.2 speaks of three or more a minute as chattering, for
 *                   plants with an operator; an hour is what a person far away can bear: common practice, no source)
 *   standing        active for more than 24 h
 *   cannot tell     planted on a level that cannot see it: neither found nor missed
 */
import type { Annunciation, Label, LoopRun } from './label.ts'
import { wakesOf } from './wake.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
const YEAR_DAYS = 365.25
const MONTH_DAYS = YEAR_DAYS / 12

/** What one of each costs, in wakes in vain. Ours: a fault that nobody is told of is worth ten needless nights, one told of at the last moment half as much, ten needless lines of a day list one night. */
export const WEIGHTS = { missed: 10, late: 5, falseWake: 1, falseItem: 0.1, faultsPerLoopYear: 2 } as const

export interface Found {
  readonly label: Label
  /** null: missed. */
  readonly by: Annunciation | null
  readonly delayMs: number | null
}

export interface Score {
  readonly loops: number
  readonly loopYears: number
  readonly faults: number
  readonly alikes: number
  readonly cannotTell: number
  /** Of those that can be seen. */
  readonly observable: number
  readonly observableFound: number
  readonly recall: number | null
  readonly partly: number
  readonly partlyFound: number
  /** Among those that "cannot be seen": found all the same. */
  readonly unseenFound: number
  readonly medianDelayMs: number | null
  readonly p90DelayMs: number | null
  readonly wakes: number
  readonly falseWakes: number
  readonly falseWakesPerLoopYear: number
  /** Wakes that a fault explains, per planted fault. */
  readonly trueWakesPerFault: number
  /** False wakes, and the true ones of `WEIGHTS.faultsPerLoopYear` faults. */
  readonly wakesPerLoopYear: number
  readonly calls: number
  readonly falseCalls: number
  readonly items: number
  readonly falseItems: number
  readonly itemsPerLoopMonth: number
  readonly falseItemsPerLoopMonth: number
  readonly chatters: number
  readonly standing: number
  /** Air lost in a tank whose oxygen is measured: alarms in time, of so many. */
  readonly airInTime: readonly [number, number]
  /** Recall less the share of fault-free loop-days with a false wake. */
  readonly youden: number | null
  readonly cost: number
}

export const isFault = (l: Label): boolean => !l.alike

/** Does this label account for the annunciation? */
export function explains(l: Label, a: Annunciation): boolean {
  if (a.site !== l.site || a.toldMs < l.onsetMs || a.atMs > l.explainsToMs) return false
  return a.trouble === 'any' ? isFault(l) : l.names.includes(a.trouble) || l.follows.includes(a.trouble)
}

/** The first telling that names a fault in time. */
export function foundBy(l: Label, told: readonly Annunciation[]): Found {
  let by: Annunciation | null = null
  for (const a of told) {
    if (a.site !== l.site || a.toldMs < l.onsetMs || a.toldMs > l.helpsToMs) continue
    if (a.trouble !== 'any' && !l.names.includes(a.trouble)) continue
    if (by === null || a.toldMs < by.toldMs) by = a
  }
  return { label: l, by, delayMs: by === null ? null : by.toldMs - l.onsetMs }
}

/** Is the aerator alarm early enough: before a quarter of the time to 1 mg/L where that is more than 40 min, else within two reports and the shortest delay it may have. */
export function airInTime(f: Found, reportEveryMs: number): boolean | null {
  if (!f.label.air || f.label.seen !== 'yes' || f.label.level === 'poor') return null
  const toNoneMs = (f.label.noOxygenMs ?? f.label.endMs) - f.label.onsetMs
  const allowedMs = toNoneMs > 40 * 60_000 ? toNoneMs / 4 : 2 * reportEveryMs + 10 * 60_000
  return f.delayMs !== null && f.delayMs <= allowedMs
}

export function score(runs: readonly LoopRun[]): Score {
  const labels = runs.flatMap((r) => r.labels)
  const faults = labels.filter(isFault)
  const days = runs.reduce((s, r) => s + (r.toMs - r.fromMs) / DAY, 0)
  const loopYears = days / YEAR_DAYS
  const found = runs.flatMap((r) => r.labels.filter(isFault).map((l) => ({ ...foundBy(l, r.told), every: r.reportEveryMs })))
  const of = (seen: Label['seen']): typeof found => found.filter((f) => f.label.seen === seen)
  const hits = (list: readonly Found[]): number => list.filter((f) => f.by !== null).length
  const yes = of('yes')
  const delays = yes.flatMap((f) => f.delayMs ?? []).sort((a, b) => a - b)
  const wakes = runs.flatMap((r) => wakesOf(r.told).map((w) => ({ ...w, vain: !w.by.some((a) => r.labels.some((l) => explains(l, a))) })))
  const falseWakes = wakes.filter((w) => w.vain)
  const items = runs.flatMap((r) => itemsOf(r))
  const calls = runs.flatMap((r) => r.told.filter((a) => a.called && a.wokeMs === null).map((a) => ({ vain: !r.labels.some((l) => explains(l, a)) })))
  const falseItems = items.filter((i) => i.vain).length
  const air = found.map((f) => airInTime(f, f.every)).filter((x) => x !== null)
  const recall = yes.length === 0 ? null : hits(yes) / yes.length
  const quiet = runs.map((r) => quietDays(r, falseWakes))
  const quietDaysAll = quiet.reduce((s, q) => s + q.days, 0)
  const troubled = quiet.reduce((s, q) => s + q.disturbed, 0)
  const trueWakesPerFault = faults.length === 0 ? 0 : (wakes.length - falseWakes.length) / faults.length
  const per = (n: number, span: number): number => (days === 0 ? 0 : n / span)
  const falseWakesPerLoopYear = per(falseWakes.length, loopYears)
  const falseItemsPerLoopMonth = per(falseItems, days / MONTH_DAYS)
  const missCost =
    yes.length === 0 ? 0 : yes.reduce((s, f) => s + (f.delayMs === null ? WEIGHTS.missed : (WEIGHTS.late * f.delayMs) / (f.label.helpsToMs - f.label.onsetMs)), 0) / yes.length
  return {
    loops: runs.length,
    loopYears,
    faults: faults.length,
    alikes: labels.length - faults.length,
    cannotTell: of('no').length,
    observable: yes.length,
    observableFound: hits(yes),
    recall,
    partly: of('partly').length,
    partlyFound: hits(of('partly')),
    unseenFound: hits(of('no')),
    medianDelayMs: quantile(delays, 0.5),
    p90DelayMs: quantile(delays, 0.9),
    wakes: wakes.length,
    falseWakes: falseWakes.length,
    falseWakesPerLoopYear,
    trueWakesPerFault,
    wakesPerLoopYear: falseWakesPerLoopYear + WEIGHTS.faultsPerLoopYear * trueWakesPerFault,
    calls: calls.length,
    falseCalls: calls.filter((c) => c.vain).length,
    items: items.length,
    falseItems,
    itemsPerLoopMonth: per(items.length, days / MONTH_DAYS),
    falseItemsPerLoopMonth,
    chatters: runs.reduce((s, r) => s + chatters(r.told), 0),
    standing: runs.reduce((s, r) => s + r.told.filter((a) => a.priority !== 'alert' && (a.clearedMs ?? r.toMs) - a.atMs > DAY).length, 0),
    airInTime: [air.filter(Boolean).length, air.length],
    youden: recall === null ? null : recall - (quietDaysAll === 0 ? 0 : troubled / quietDaysAll),
    cost: WEIGHTS.faultsPerLoopYear * missCost + WEIGHTS.falseWake * falseWakesPerLoopYear + WEIGHTS.falseItem * 12 * falseItemsPerLoopMonth,
  }
}

interface Item {
  readonly alarm: string
  readonly vain: boolean
}

/** Lines of the day list: what is annunciated and wakes nobody, one per alarm and day. */
function itemsOf(r: LoopRun): readonly Item[] {
  const days = new Map<string, Item>()
  for (const a of r.told) {
    if (a.wokeMs !== null || a.priority === 'alert') continue
    const key = `${a.alarm} ${Math.floor(a.toldMs / DAY)}`
    const vain = !r.labels.some((l) => explains(l, a))
    const before = days.get(key)
    days.set(key, { alarm: a.alarm, vain: vain && (before?.vain ?? true) })
  }
  return [...days.values()]
}

/** Times an alarm came for the third time, or more, within 60 min: stretches of it, not every return. */
export function chatters(told: readonly Annunciation[]): number {
  const byAlarm = new Map<string, number[]>()
  for (const a of told) {
    const list = byAlarm.get(a.alarm) ?? []
    list.push(a.atMs)
    byAlarm.set(a.alarm, list)
  }
  let n = 0
  for (const times of byAlarm.values()) {
    times.sort((a, b) => a - b)
    let inIt = false
    times.forEach((t, i) => {
      const third = times[i - 2]
      const now = third !== undefined && t - third <= HOUR
      if (now && !inIt) n++
      inIt = now
    })
  }
  return n
}

/** Whole days without any fault or its consequences, and how many of them had a false wake. */
function quietDays(r: LoopRun, falseWakes: readonly { readonly site: string; readonly atMs: number }[]): { readonly days: number; readonly disturbed: number } {
  let days = 0
  let disturbed = 0
  for (let at = r.fromMs; at + DAY <= r.toMs; at += DAY) {
    if (r.labels.some((l) => isFault(l) && l.onsetMs < at + DAY && l.explainsToMs > at)) continue
    days++
    if (falseWakes.some((w) => w.site === r.site && w.atMs >= at && w.atMs < at + DAY)) disturbed++
  }
  return { days, disturbed }
}

/** Linear between ranks; null of an empty list. */
export function quantile(sorted: readonly number[], q: number): number | null {
  if (sorted.length === 0) return null
  const at = (sorted.length - 1) * q
  const low = sorted[Math.floor(at)] ?? 0
  return low + ((sorted[Math.ceil(at)] ?? low) - low) * (at - Math.floor(at))
}
