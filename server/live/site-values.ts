/**
 * Newest values of the sites somebody watches. Nothing is queued per browser: each signal remembers the turn in which it last
 * changed, each browser the turn it has seen, and a frame holds what lies between. A browser that missed ten turns gets one
 * frame with the newest value of each signal; all browsers that have seen the same turn share the same bytes.
 */
import type { SiteState } from '../../gateway/port.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { signalOfKey, siteOfKey } from '../../gateway/site/reading.ts'
import { valuesFrame } from './frames.ts'

export interface SiteValues {
  /** Changes what a browser watches (turn seen per site) to `wanted`; a loop that is not there any more is passed over. */
  follow(watches: Map<string, number>, wanted: readonly string[], exists: (site: string) => boolean): void
  take(readings: readonly Reading[]): void
  /** Begins the next turn and gives its number. */
  next(): number
  /** What changed at a site after turn `seen` (-1: everything); null: nothing. */
  since(state: SiteState, seen: number, nowMs: number): Buffer | null
  /** Readings that took the place of one nobody had been sent yet. */
  replaced(): number
}

interface Channel {
  watchers: number
  readonly changed: Map<string, number>
  /** Frames of this turn, by what was seen before. */
  readonly made: Map<number, Buffer | null>
}

export function createSiteValues(): SiteValues {
  const channels = new Map<string, Channel>()
  let turn = 0
  let replaced = 0
  return {
    follow(watches, wanted, exists) {
      const next = new Set(wanted)
      for (const site of watches.keys()) {
        if (next.has(site)) continue
        watches.delete(site)
        const channel = channels.get(site)
        if (channel && --channel.watchers === 0) channels.delete(site)
      }
      for (const site of next) {
        if (watches.has(site) || !exists(site)) continue
        watches.set(site, -1)
        const channel = channels.get(site)
        if (channel) channel.watchers++
        else channels.set(site, { watchers: 1, changed: new Map(), made: new Map() })
      }
    },
    take(readings) {
      for (const r of readings) {
        const channel = channels.get(siteOfKey(r.key))
        if (!channel) continue
        const signal = signalOfKey(r.key)
        if (channel.changed.get(signal) === turn + 1) replaced++
        else channel.changed.set(signal, turn + 1)
      }
    },
    next() {
      turn++
      for (const channel of channels.values()) channel.made.clear()
      return turn
    },
    since(state, seen, nowMs) {
      const channel = channels.get(state.site.id)
      if (!channel) return null
      const known = channel.made.get(seen)
      if (known !== undefined) return known
      const frame = valuesFrame(state, (signal) => seen < 0 || (channel.changed.get(signal) ?? 0) > seen, nowMs)
      channel.made.set(seen, frame)
      return frame
    },
    replaced: () => replaced,
  }
}
