/** The fleet page as data: who needs someone, in which order, and how many of each. */
import type { AlarmBody, LoopBody } from '../../server/wire.ts'
import { LETTER, type Letter } from '../words/words.ts'
import { byUrgency, markOf, worst } from './mark.ts'

/** unsure: no alarm stands, but the loop is silent, was never heard, or rests on doubtful readings. It is not quiet. */
export type Group = Letter | 'unsure' | 'quiet'

export interface Counts {
  readonly groups: Readonly<Record<Group, { readonly loops: number; readonly unanswered: number }>>
  readonly silent: number
  readonly doubtful: number
  readonly total: number
}

/** A loop is counted once, under its worst. */
export const groupOf = (loop: LoopBody): Group => {
  const w = worst(loop)
  return w ? LETTER[w.priority] : loop.silent || loop.doubtful.length > 0 ? 'unsure' : 'quiet'
}

const unanswered = (a: AlarmBody): boolean => !markOf(a).answered && a.priority !== 'alert'

export function count(loops: readonly LoopBody[]): Counts {
  const groups = {
    A: { loops: 0, unanswered: 0 },
    B: { loops: 0, unanswered: 0 },
    C: { loops: 0, unanswered: 0 },
    W: { loops: 0, unanswered: 0 },
    unsure: { loops: 0, unanswered: 0 },
    quiet: { loops: 0, unanswered: 0 },
  }
  let silent = 0
  let doubtful = 0
  for (const loop of loops) {
    const g = groups[groupOf(loop)]
    g.loops++
    if (loop.alarms.some((a) => LETTER[a.priority] === groupOf(loop) && unanswered(a))) g.unanswered++
    if (loop.silent) silent++
    if (loop.doubtful.length > 0) doubtful++
  }
  return { groups, silent, doubtful, total: loops.length }
}

/** One line of "Need someone": a loop's most urgent alarm, and how many more it has. A silent loop without an alarm stands as itself. */
export interface Need {
  readonly id: string
  readonly loop: LoopBody
  readonly alarm: AlarmBody | null
  readonly more: number
  /** Full row, one line, or only counted (watch). */
  readonly form: 'full' | 'slim'
}

const MOST_FULL = 12

/** Unanswered first, then priority, then the newest; alerts are left out. Above 12 full rows all but an unanswered A go to one line. */
export function needs(loops: readonly LoopBody[]): readonly Need[] {
  const rows: Need[] = []
  for (const loop of loops) {
    const alarms = loop.alarms.filter((a) => a.priority !== 'alert').sort(byUrgency)
    const first = alarms[0]
    if (first) rows.push({ id: loop.id, loop, alarm: first, more: alarms.length - 1, form: first.priority === 'low' ? 'slim' : 'full' })
    else if (loop.silent) rows.push({ id: loop.id, loop, alarm: null, more: 0, form: 'slim' })
  }
  rows.sort((a, b) => (a.alarm && b.alarm ? byUrgency(a.alarm, b.alarm) : a.alarm ? -1 : b.alarm ? 1 : (a.loop.heardMs ?? 0) - (b.loop.heardMs ?? 0)))
  let full = 0
  return rows.map((r) => (r.form === 'full' && ++full > MOST_FULL && !(r.alarm?.priority === 'high' && unanswered(r.alarm)) ? { ...r, form: 'slim' } : r))
}

/** Fixed places: by area, then by name, so that people learn them. */
export function areas<L extends Pick<LoopBody, 'area' | 'name'>>(loops: readonly L[]): readonly { readonly area: string; readonly loops: readonly L[] }[] {
  const by = new Map<string, L[]>()
  for (const l of loops) by.set(l.area, [...(by.get(l.area) ?? []), l])
  const order = new Intl.Collator('en')
  return [...by].sort(([a], [b]) => order.compare(a, b)).map(([area, all]) => ({ area, loops: all.sort((a, b) => order.compare(a.name, b.name)) }))
}

/** Size of the rings in the field, by how many there are. */
export const fieldForm = (n: number): 'large' | 'middle' | 'small' | 'beads' => (n <= 30 ? 'large' : n <= 150 ? 'middle' : n <= 400 ? 'small' : 'beads')

/**
 * Holds the order of rows while somebody's pointer or focus is inside, or the list is frozen: old rows keep their places. What is new
 * stands below them, so that nothing moves under a finger; a frozen list only counts it, except an A nobody has answered.
 */
export function heldOrder(held: readonly string[] | null, now: readonly Need[], frozen = false): { readonly rows: readonly Need[]; readonly waiting: number } {
  if (held === null) return { rows: now, waiting: 0 }
  const by = new Map(now.map((n) => [n.id, n]))
  const fresh = now.filter((n) => !held.includes(n.id))
  const below = fresh.filter((n) => !frozen || (n.alarm !== null && n.alarm.priority === 'high' && !markOf(n.alarm).answered))
  return { rows: [...held.flatMap((id) => by.get(id) ?? []), ...below], waiting: fresh.length }
}

/** At most `most` rows, and how many more there are of each kind. An A is never among those left out. */
export function folded(rows: readonly Need[], most: number): { readonly rows: readonly Need[]; readonly more: readonly (readonly [kind: Letter | 'silent', n: number])[] } {
  const kept: Need[] = []
  const more = new Map<Letter | 'silent', number>()
  for (const r of rows) {
    const kind = r.alarm ? LETTER[r.alarm.priority] : 'silent'
    if (kept.length < most || kind === 'A') kept.push(r)
    else more.set(kind, (more.get(kind) ?? 0) + 1)
  }
  return { rows: kept, more: [...more] }
}

/** Loops whose name or area holds every word of `text`, whatever its case. */
export function found<L extends Pick<LoopBody, 'area' | 'name'>>(loops: readonly L[], text: string): readonly L[] {
  const words = text.toLocaleLowerCase().split(/\s+/).filter(Boolean)
  return loops.filter((l) => words.every((w) => `${l.name} ${l.area}`.toLocaleLowerCase().includes(w)))
}
