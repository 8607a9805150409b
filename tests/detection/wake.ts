/**
 * Who is woken by what, as the wake rule of the gateway says: an annunciation wakes when its verdict rings while the desk is not staffed, at
 * once or later, as harm comes nearer. While the desk is staffed the same verdict is a call to somebody who is awake: it is counted as a call
 * and as an item of the day list, and wakes nobody. What is announced again because nobody was heard of is not counted anew.
 */
import type { WakeNote } from '../../gateway/alarms/wake.ts'
import type { Annunciation } from './label.ts'

export type Ring = 'wake' | 'call' | 'none'

export const ringOf = (note: Pick<WakeNote, 'rings' | 'deskMs'>, nowMs: number): Ring => (!note.rings ? 'none' : note.deskMs > nowMs ? 'wake' : 'call')

/** A person who is up already is not woken again by the same loop. Common practice, no source. */
export const ONE_WAKE_MS = 3_600_000

export interface Wake {
  readonly site: string
  readonly atMs: number
  readonly by: readonly Annunciation[]
}

/** Waking annunciations of one or many loops, put together: what a loop says within an hour of the first call is one wake. */
export function wakesOf(told: readonly Annunciation[]): readonly Wake[] {
  const out: { site: string; atMs: number; by: Annunciation[] }[] = []
  const last = new Map<string, { site: string; atMs: number; by: Annunciation[] }>()
  const waking = told.flatMap((a) => (a.wokeMs === null ? [] : [{ a, atMs: a.wokeMs }])).sort((x, y) => x.atMs - y.atMs)
  for (const { a, atMs } of waking) {
    const open = last.get(a.site)
    if (open && atMs - open.atMs < ONE_WAKE_MS) open.by.push(a)
    else {
      const wake = { site: a.site, atMs, by: [a] }
      out.push(wake)
      last.set(a.site, wake)
    }
  }
  return out
}
