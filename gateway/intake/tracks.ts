/** The signals intake knows, by site, each with what its checks remember. Follows the site files as they are read again. */
import { LINK_BYTES, monthOf, type MonthUse } from '../site/data-plan.ts'
import type { ForeignTopic } from '../site/foreign.ts'
import type { Site } from '../site/site.ts'
import { sizeOf, type Message } from './message.ts'
import { aroundOf } from './checks-around.ts'
import { heardUntil, neverHeard, specOf } from './checks.ts'
import type { Track } from './checks-message.ts'
import { createClockOffset, type ClockOffset } from './clock-offset.ts'
import { createLinkHour, type LinkHour } from './link-hour.ts'

export interface SiteTracks {
  readonly site: Site
  readonly signals: ReadonlyMap<string, Track>
  /** Our clock; null: nothing heard since start. Retained messages do not count: they are old by definition. */
  heardMs: number | null
  messages: number
  /** Payload and topic, without what the link adds. */
  bytes: number
  /** The same in this month; null: nothing yet. */
  month: MonthUse | null
  /** Hour of the newest message, hours since 1970. */
  monthHour: number
  /** Newest row placed by a wall clock; null: none. */
  wallMs: number | null
  readonly clock: ClockOffset
  readonly hour: LinkHour
  /** Our time of the newest message with a live reading in it; null: none since start. */
  liveMs: number | null
}

/** A topic that is not in our form, and whose it is. */
export interface ForeignOwner {
  readonly site: string
  readonly topic: ForeignTopic
}

export interface Tracks {
  /** undefined: no such site. */
  of(site: string): SiteTracks | undefined
  all(): readonly SiteTracks[]
  /** undefined: no site maps this topic. */
  foreign(topic: string): ForeignOwner | undefined
  /** Topics outside our prefix that have to be subscribed to. */
  foreignTopics(): readonly string[]
  /** Mapped topics that cannot be had, one sentence each. */
  faults(): readonly string[]
}

/** What the history knows of a signal at the start. */
export interface Seed {
  /** Newest source time it holds, so that a restart does not take old readings for news. */
  readonly newestMs: number
  /** Our time when that reading came live with a right time of its own; undefined: it did not. */
  readonly rightMs?: number
}

/** `seed`: undefined: the history holds nothing of this key. */
export function createTracks(sites: () => ReadonlyMap<string, Site>, seed: (key: string) => Seed | undefined, prefix: string): Tracks {
  const known = new Map<string, SiteTracks>()
  let foreign = new Map<string, ForeignOwner>()
  let faults: string[] = []
  let fleet: ReadonlyMap<string, Site> | null = null

  const build = (site: Site, was: SiteTracks | undefined): SiteTracks => {
    const signals = new Map<string, Track>()
    for (const s of site.signals) {
      const spec = specOf(site.id, s, site.stages.find((x) => x.id === s.stage)?.kind ?? null)
      const old = was?.signals.get(s.id)
      const held = old ? undefined : seed(spec.key)
      signals.set(s.id, { spec, state: old?.state ?? (held === undefined ? neverHeard : heardUntil(held.newestMs, held.rightMs)), around: null })
    }
    for (const s of site.signals) {
      const track = signals.get(s.id)
      if (track) track.around = aroundOf(site, s, track.spec.checks, signals)
    }
    return {
      site,
      signals,
      heardMs: was?.heardMs ?? null,
      messages: was?.messages ?? 0,
      bytes: was?.bytes ?? 0,
      month: was?.month ?? null,
      monthHour: was?.monthHour ?? -1,
      wallMs: was?.wallMs ?? null,
      clock: was?.clock ?? createClockOffset(),
      hour: was?.hour ?? createLinkHour(Math.min(...site.signals.map((s) => s.reportEveryMs))),
      liveMs: was?.liveMs ?? null,
    }
  }

  const follow = (): ReadonlyMap<string, Site> => {
    const now = sites()
    if (now !== fleet) {
      for (const id of known.keys()) if (!now.has(id)) known.delete(id)
      fleet = now
      ;({ foreign, faults } = foreignOf(now, prefix))
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
    foreign(topic) {
      follow()
      return foreign.size === 0 ? undefined : foreign.get(topic)
    },
    foreignTopics() {
      follow()
      return [...foreign.keys()].filter((t) => !t.startsWith(`${prefix}/`))
    },
    faults() {
      follow()
      return faults
    },
  }
}

/** One owner for each topic: a site cannot take what another has, nor what lies below the own topics of another. */
function foreignOf(sites: ReadonlyMap<string, Site>, prefix: string): { foreign: Map<string, ForeignOwner>; faults: string[] } {
  const foreign = new Map<string, ForeignOwner>()
  const faults: string[] = []
  for (const site of sites.values()) {
    for (const topic of site.foreign) {
      const other = foreign.get(topic.topic)
      if (other) faults.push(`Site ${site.id} maps the topic ${topic.topic}, which ${other.site} has already: its messages go to ${other.site}.`)
      else if (topic.topic.startsWith(`${prefix}/`) && !topic.topic.startsWith(`${prefix}/${site.id}/`))
        faults.push(`Site ${site.id} maps the topic ${topic.topic}, which lies below the topics of another site: it is not taken.`)
      else foreign.set(topic.topic, { site: site.id, topic })
    }
  }
  return { foreign, faults }
}

/** A message that has been counted turns out to be a store being emptied. */
export function addToOnce(t: SiteTracks, m: Pick<Message, 'topic' | 'payload' | 'cutFrom'>): void {
  if (t.month) t.month = { ...t.month, onceBytes: (t.month.onceBytes ?? 0) + sizeOf(m) + m.topic.length + LINK_BYTES }
}

export function addToMonth(t: SiteTracks, m: Pick<Message, 'topic' | 'payload' | 'cutFrom' | 'receivedMs'>): void {
  const was = t.month
  // The month is worked out only when it may have changed.
  const same = was !== null && Math.floor(m.receivedMs / 3_600_000) === t.monthHour
  const month = same ? was.month : monthOf(m.receivedMs)
  t.monthHour = Math.floor(m.receivedMs / 3_600_000)
  const bytes = sizeOf(m) + m.topic.length
  t.month = was?.month === month ? { ...was, messages: was.messages + 1, bytes: was.bytes + bytes } : { month, messages: 1, bytes, sinceMs: m.receivedMs }
}
