/** The signals intake knows, by site, each with what its checks remember. Follows the site files as they are read again. */
import type { Site } from '../site/site.ts'
import { heardUntil, neverHeard, specOf } from './checks.ts'
import type { Track } from './checks-message.ts'

export interface SiteTracks {
  readonly site: Site
  readonly signals: ReadonlyMap<string, Track>
  /** Our clock; null: nothing heard since start. Retained messages do not count: they are old by definition. */
  heardMs: number | null
  messages: number
  /** Payload and topic, without what the link adds. */
  bytes: number
}

export interface Tracks {
  /** undefined: no such site. */
  of(site: string): SiteTracks | undefined
  all(): readonly SiteTracks[]
}

/** `seed` gives the newest source time the history holds of a key, so that a restart does not take old readings for news. */
export function createTracks(sites: () => ReadonlyMap<string, Site>, seed: (key: string) => number | undefined): Tracks {
  const known = new Map<string, SiteTracks>()
  let fleet: ReadonlyMap<string, Site> | null = null

  const build = (site: Site, was: SiteTracks | undefined): SiteTracks => {
    const signals = new Map<string, Track>()
    for (const s of site.signals) {
      const spec = specOf(site.id, s)
      const old = was?.signals.get(s.id)
      const newestMs = old ? undefined : seed(spec.key)
      signals.set(s.id, { spec, state: old?.state ?? (newestMs === undefined ? neverHeard : heardUntil(newestMs)) })
    }
    return { site, signals, heardMs: was?.heardMs ?? null, messages: was?.messages ?? 0, bytes: was?.bytes ?? 0 }
  }

  const follow = (): ReadonlyMap<string, Site> => {
    const now = sites()
    if (now !== fleet) {
      for (const id of known.keys()) if (!now.has(id)) known.delete(id)
      fleet = now
    }
    return now
  }

  const of = (id: string): SiteTracks | undefined => {
    const site = follow().get(id)
    if (!site) return undefined
    const was = known.get(id)
    // A site file read again gives a new Site; the memory of its signals carries over.
    if (was?.site === site) return was
    const built = build(site, was)
    known.set(id, built)
    return built
  }

  return {
    of,
    all: () => [...follow().keys()].flatMap((id) => of(id) ?? []),
  }
}
