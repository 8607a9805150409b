/**
 * What is known of every loop right now: newest reading per signal, when the site was last heard, whether it is silent.
 * Newest is by source time; a late or retained reading may be it, and keeps its mark that it is not live, as the newest stored
 * readings do after a restart.
 */
import type { HistoryReading } from './history/history.ts'
import type { SiteState } from './port.ts'
import { keyOf, signalOfKey, siteOfKey, type Reading } from './site/reading.ts'
import { silentAfterMs, type Site } from './site/site.ts'

interface Entry {
  site: Site
  heardMs: number | null
  silent: boolean
  readonly latest: Map<string, Reading>
}

export interface Current {
  /** Takes readings in the order they were stored. */
  take(readings: readonly Reading[]): void
  /** A message came from the site, whatever was in it. */
  heard(site: string, atMs: number): void
  /** Site files were read again: what is known of a loop stays, for the signals that it still has. */
  follow(sites: ReadonlyMap<string, Site>): void
  /** Re-judges silence; gives the sites whose silence changed. */
  tick(nowMs: number): readonly SiteState[]
  site(id: string): SiteState | null
  all(): readonly SiteState[]
}

export function createCurrent(sites: ReadonlyMap<string, Site>, stored: ReadonlyMap<string, HistoryReading>): Current {
  const entries = new Map<string, Entry>()
  for (const site of sites.values()) {
    const latest = new Map<string, Reading>()
    let heardMs: number | null = null
    for (const signal of site.signals) {
      const key = keyOf(site.id, signal.id)
      const r = stored.get(key)
      if (!r) continue
      latest.set(signal.id, { key, ...r, clock: 'ok', live: false })
      heardMs = Math.max(heardMs ?? 0, r.receivedMs)
    }
    entries.set(site.id, { site, heardMs, silent: true, latest })
  }

  const current: Current = {
    take(readings) {
      for (const r of readings) {
        const entry = entries.get(siteOfKey(r.key))
        if (!entry) continue
        const signal = signalOfKey(r.key)
        const was = entry.latest.get(signal)
        if (!was || r.sourceMs >= was.sourceMs) entry.latest.set(signal, r)
      }
    },
    heard(site, atMs) {
      const entry = entries.get(site)
      if (entry) entry.heardMs = Math.max(entry.heardMs ?? 0, atMs)
    },
    follow(sites) {
      for (const id of entries.keys()) if (!sites.has(id)) entries.delete(id)
      for (const site of sites.values()) {
        const entry = entries.get(site.id)
        if (!entry) {
          entries.set(site.id, { site, heardMs: null, silent: true, latest: new Map() })
          continue
        }
        if (entry.site === site) continue
        entry.site = site
        const ids = new Set(site.signals.map((s) => s.id))
        for (const id of entry.latest.keys()) if (!ids.has(id)) entry.latest.delete(id)
      }
    },
    tick(nowMs) {
      const changed: SiteState[] = []
      for (const entry of entries.values()) {
        const silent = entry.heardMs === null || nowMs - entry.heardMs > silentAfterMs(entry.site)
        if (silent !== entry.silent) {
          entry.silent = silent
          changed.push(entry)
        }
      }
      return changed
    },
    site: (id) => entries.get(id) ?? null,
    all: () => [...entries.values()],
  }
  return current
}
