/** The fleet page as data: who needs someone, in which order, and how many of each. */
import type { AlarmBody, LoopBody } from '../../server/wire.ts'
import { LETTER, type Letter } from '../words/words.ts'
import { byUrgency, markOf, worst } from './mark.ts'

export type Group = Letter | 'quiet'

export interface Counts {
  readonly groups: Readonly<Record<Group, { readonly loops: number; readonly unanswered: number }>>
  readonly silent: number
  readonly doubtful: number
  readonly total: number
}

/** A loop is counted once, under its worst. */
export const groupOf = (loop: LoopBody): Group => {
  const w = worst(loop)
  return w ? LETTER[w.priority] : 'quiet'
}

const unanswered = (a: AlarmBody): boolean => !markOf(a).answered && a.priority !== 'alert'

export function count(loops: readonly LoopBody[]): Counts {
  const groups = {
    A: { loops: 0, unanswered: 0 },
    B: { loops: 0, unanswered: 0 },
    C: { loops: 0, unanswered: 0 },
    W: { loops: 0, unanswered: 0 },
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

/** Unanswered first, then priority, then the newest; alerts are left out. Above 12 full rows the B and the silent ones go to one line. */
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
  return rows.map((r) => (r.form === 'full' && ++full > MOST_FULL && r.alarm?.priority !== 'high' ? { ...r, form: 'slim' } : r))
}

/** Fixed places: by area, then by name, so that people learn them. */
export function areas(loops: readonly LoopBody[]): readonly { readonly area: string; readonly loops: readonly LoopBody[] }[] {
  const by = new Map<string, LoopBody[]>()
  for (const l of loops) by.set(l.area, [...(by.get(l.area) ?? []), l])
  const order = new Intl.Collator('en')
  return [...by].sort(([a], [b]) => order.compare(a, b)).map(([area, all]) => ({ area, loops: all.sort((a, b) => order.compare(a.name, b.name)) }))
}

/** Size of the rings in the field, by how many there are. */
export const fieldForm = (n: number): 'large' | 'middle' | 'small' | 'beads' => (n <= 30 ? 'large' : n <= 150 ? 'middle' : n <= 400 ? 'small' : 'beads')

/** Holds the order of rows while somebody's pointer or focus is inside, or the list is frozen: old rows keep their places, new ones wait. */
export function heldOrder(held: readonly string[] | null, now: readonly Need[]): { readonly rows: readonly Need[]; readonly waiting: number } {
  if (held === null) return { rows: now, waiting: 0 }
  const by = new Map(now.map((n) => [n.id, n]))
  const rows = held.flatMap((id) => by.get(id) ?? [])
  return { rows, waiting: now.filter((n) => !held.includes(n.id)).length }
}
