/**
 * A run of a fleet: settle every plant in the past, then live on the clock. A fill (fill.ts) tells the past behind it.
 * The only loop of the program; everything it drives is pure or bounded.
 */
import type { Fault } from './faults/fault.ts'
import type { Labels } from './labels.ts'
import { openLink, type Link, type Login } from './link.ts'
import { recentFrom } from './fill.ts'
import type { Loop } from './loop.ts'
import type { PlantSpec } from './process/spec.ts'
import { prng } from './random.ts'
import { settle, unsettled } from './settled.ts'

export interface RunOptions {
  readonly specs: readonly PlantSpec[]
  /** Faults on the clock, given the moment of going live. */
  readonly plan: (startMs: number) => readonly Fault[]
  /** Faults with times of their own, whenever the run goes live. */
  readonly fixed?: readonly Fault[]
  readonly url: string
  readonly prefix: string
  /** Who each site says it is; null: no login. */
  readonly logins: ReadonlyMap<string, Login | null>
  /** Tells this program's connections from those of another with the same sites. */
  readonly clientSuffix: string
  /** Plant seconds per second once live, until the plant has caught up with the clock. */
  readonly speed: number
  /** How long before now the live part begins. */
  readonly behindMs?: number
  /** How much past a fill tells of the fleet behind this run; 0: none. */
  readonly pastMs: number
  /**
   * Every site tells something the moment it is live: a gateway believes old readings of a controller whose clock it has seen to be right,
   * and a fill waits for that. Not for a fleet that was live a moment ago: its last minute would be told twice, with other figures.
   */
  readonly atOnce?: boolean
  /** Instruments with the wear of the field. */
  readonly field: boolean
  readonly nowMs: () => number
  readonly labels: Labels | null
  readonly say: (line: string) => void
}

export interface Run {
  stop(): Promise<void>
  summary(): string
  /** Settles only by rejecting: something that must not happen did. */
  readonly failed: Promise<never>
  /** Resolves when all sites are live. */
  readonly live: Promise<void>
  /** Resolves when something of every site has been acknowledged. */
  readonly heard: Promise<void>
  /** Where the live part begins: the end of what a fill has to tell. */
  readonly joinMs: number
  /** Faults with their times that a fill has to know as well. */
  readonly early: readonly Fault[]
}

const HOUR = 3_600_000
const BEAT_MS = 200
/** Longest stretch of a plant per turn, so that no site and no heartbeat waits for another. */
const SLICE_MS = 2 * HOUR
/** So long ago a fleet goes live that is to have something to tell of every site at once. */
const AT_ONCE_MS = 60_000
/** How often the truth is looked at. */
const LOOK_MS = 60_000
const QUEUE = 2000
const IN_FLIGHT = 6

export function startRun(o: RunOptions): Run {
  const bornMs = o.nowMs()
  const behindMs = o.behindMs ?? 0
  const joinMs = bornMs - behindMs - (o.atOnce ? AT_ONCE_MS : 0)
  // What began before going live must be in the plants already; the rest is put on the clock at that moment.
  const early = [...o.plan(bornMs - behindMs).filter((f) => f.onsetMs < bornMs - behindMs), ...(o.fixed ?? [])]
  o.labels?.faults(early)
  const sites = o.specs.map((spec) => {
    const site = spec.site.id
    const { labels } = o
    const recentMs = recentFrom(joinMs - o.pastMs, joinMs)
    const loop = unsettled(spec, early, recentMs, recentMs - (joinMs - o.pastMs), o.field ? { tell: (a) => labels?.artefact(site, a) } : null)
    const link = openLink({
      url: o.url,
      site,
      login: o.logins.get(site) ?? null,
      clientSuffix: o.clientSuffix,
      topic: `${o.prefix}/${site}`,
      queue: QUEUE,
      inFlight: IN_FLIGHT,
      next: prng(spec.seed, `link ${site}`),
      say: o.say,
    })
    return { loop, link }
  })
  let stopped = false
  let beat: NodeJS.Timeout | null = null
  let lookedMs = 0
  let reject: (e: unknown) => void = () => undefined
  const failed = new Promise<never>((_, no) => (reject = no))
  failed.catch(() => undefined)

  async function prepare(): Promise<void> {
    o.say(`${sites.length} loops, settling`)
    for (const { loop } of sites) await settle(loop, o.pastMs > 0 ? recentFrom(joinMs - o.pastMs, joinMs) : joinMs, joinMs, () => stopped)
  }

  async function goLive(): Promise<void> {
    await prepare()
    if (stopped) return
    const startMs = o.nowMs()
    const startPlantMs = startMs - behindMs
    let first = o.atOnce === true
    const coming = o.plan(startPlantMs).filter((f) => f.onsetMs >= startPlantMs)
    for (const { loop } of sites) loop.faults.push(...coming.filter((f) => f.site === loop.spec.site.id))
    o.labels?.faults(coming)
    o.say(`live: ${sites.map(({ loop }) => loop.spec.site.id).join(', ')}`)
    const turn = (): void => {
      // Never ahead of the clock: a plant that runs faster goes on at the clock's pace once it has caught up.
      const nowMs = o.nowMs()
      const ran = nowMs - startMs
      const simMs = ran > 0 ? Math.min(nowMs, startPlantMs + ran * o.speed) : startPlantMs
      try {
        for (const { loop, link } of sites) {
          live(loop, link, simMs)
          if (first) loop.flush(link.send)
        }
        first = false
      } catch (e) {
        reject(e)
        return
      }
      if (!stopped) beat = setTimeout(turn, BEAT_MS)
    }
    turn()
  }

  function live(loop: Loop, link: Link, simMs: number): void {
    // After a pause of the machine the plants catch up in slices, not in one long silence, and no faster than the broker takes it.
    const hurried = simMs - loop.plant.nowMs > 60_000
    if (!hurried || loop.plant.troubles.linkDown || link.waiting() < QUEUE / 4) loop.advance(Math.min(simMs, loop.plant.nowMs + SLICE_MS), link.send)
    link.radio(!loop.plant.troubles.linkDown)
    if (o.labels && simMs - lookedMs >= LOOK_MS) {
      if (loop.spec === o.specs[o.specs.length - 1]) lookedMs = simMs
      o.labels.look(loop.plant)
    }
  }

  const live_ = goLive()
  live_.catch(reject)
  const heard = (async () => {
    await live_
    for (const { link } of sites) await link.begun
  })()
  heard.catch(() => undefined)

  return {
    failed,
    live: live_,
    heard,
    joinMs,
    early,
    async stop() {
      stopped = true
      if (beat) clearTimeout(beat)
      await Promise.all(sites.map(({ link }) => link.close()))
      await live_.catch(() => undefined)
    },
    summary() {
      const sum = (k: 'sent' | 'dropped' | 'connects' | 'refused'): number => sites.reduce((s, { link }) => s + link.counters[k], 0)
      return `${sum('sent')} messages acknowledged, ${sum('dropped')} dropped (queue of ${QUEUE} full), ${sum('connects')} connections, ${sum('refused')} refused`
    },
  }
}
