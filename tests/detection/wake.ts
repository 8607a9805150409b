/**
 * Who is woken by what: the one place where the verdict is taken, so that another can take its place. Until a verdict weighs harm against
 * the next staffed hour, priority decides: high wakes, everything else waits for the morning.
 */
import type { AlarmDef } from '../../gateway/alarms/alarm.ts'
import type { Annunciation } from './label.ts'

export const wakes = (def: Pick<AlarmDef, 'priority'>): boolean => def.priority === 'high'

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
  for (const a of told.filter((x) => x.wakes).sort((x, y) => x.toldMs - y.toldMs)) {
    const open = last.get(a.site)
    if (open && a.toldMs - open.atMs < ONE_WAKE_MS) open.by.push(a)
    else {
      const wake = { site: a.site, atMs: a.toldMs, by: [a] }
      out.push(wake)
      last.set(a.site, wake)
    }
  }
  return out
}
