/**
 * A run of a fleet: settle every plant in the past, fill the asked hours of history as fast as the broker acknowledges, then
 * live on the clock. The only loop of the program; everything it drives is pure or bounded.
 */
import type { Fault } from './faults/fault.ts'
import type { Labels } from './labels.ts'
import { openLink, type Link, type Login } from './link.ts'
import { buildLoop, type Loop } from './loop.ts'
import { markReference } from './process/balance.ts'
import type { PlantSpec } from './process/spec.ts'
import { prng } from './random.ts'

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
  readonly fillHours: number
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
}

const HOUR = 3_600_000
/** Days a plant runs before anybody looks: tanks, temperatures, flakes and pH are then where its load puts them. */
const SETTLE_MS = 3 * 24 * HOUR
const BEAT_MS = 200
/** Longest stretch of a plant per turn, so that no site and no heartbeat waits for another; longer where rows are far apart. */
const SLICE_MS = 2 * HOUR
const OLD_SLICE_MS = 12 * HOUR
/** How often the truth is looked at. */
const LOOK_MS = 60_000
const ROWS_PER_MESSAGE = 90
/** Older than this, one row in five minutes is enough: ninety days of ten-second rows would be a quarter of an hour's work for a gateway. */
const FINE_MS = 48 * HOUR
const THIN_MS = 5 * 60_000
const QUEUE = 2000
const IN_FLIGHT = 6

export function startRun(o: RunOptions): Run {
  const bornMs = o.nowMs()
  const behindMs = o.behindMs ?? 0
  const fillFromMs = bornMs - behindMs - o.fillHours * HOUR
  // What began before going live must be in the plants already; the rest is put on the clock at that moment.
  const early = [...o.plan(bornMs - behindMs).filter((f) => f.onsetMs < bornMs - behindMs), ...(o.fixed ?? [])]
  o.labels?.faults(early)
  const sites = o.specs.map((spec) => {
    const site = spec.site.id
    const { labels } = o
    const loop = buildLoop(spec, early, fillFromMs - SETTLE_MS, o.field ? { tell: (a) => labels?.artefact(site, a) } : null)
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

  const breathe = (): Promise<void> => new Promise((done) => setImmediate(done))

  async function prepare(): Promise<void> {
    o.say(`${sites.length} loops, settling`)
    for (const { loop } of sites) {
      // The reference of activity is the settled culture, a day before anything is told.
      for (let at = loop.plant.nowMs; at < fillFromMs && !stopped; at += 12 * HOUR) {
        if (at >= fillFromMs - 24 * HOUR && loop.plant.reference.size === 0) markReference(loop.plant)
        loop.advance(Math.min(at + 12 * HOUR, fillFromMs), null)
        await breathe()
      }
      if (loop.plant.reference.size === 0) markReference(loop.plant)
    }
    if (o.fillHours > 0) await fill()
  }

  async function fill(): Promise<void> {
    let fine: boolean | null = null
    let saidPct = -1
    const beganMs = o.nowMs()
    // The end moves on while we fill; the last slice is short enough to be over before it moves far.
    for (let toMs = fillFromMs; !stopped; ) {
      const endMs = o.nowMs() - behindMs
      if (endMs - toMs < 5000) break
      if (fine !== toMs >= endMs - FINE_MS) {
        fine = toMs >= endMs - FINE_MS
        for (const { loop, link } of sites) {
          loop.flush(link.send)
          loop.block(ROWS_PER_MESSAGE, fine ? 0 : THIN_MS)
        }
      }
      toMs = Math.min(toMs + (fine ? SLICE_MS : OLD_SLICE_MS), fine ? endMs : Math.max(toMs + SLICE_MS, endMs - FINE_MS))
      for (const { loop, link } of sites) {
        for (let atMs = loop.plant.nowMs; atMs < toMs; atMs = Math.min(toMs, atMs + LOOK_MS)) {
          loop.advance(Math.min(toMs, atMs + LOOK_MS), link.send)
          o.labels?.look(loop.plant)
        }
        await breathe()
      }
      await Promise.all(sites.map(({ link }) => link.drained(40)))
      const share = (toMs - fillFromMs) / Math.max(1, o.nowMs() - behindMs - fillFromMs)
      const pct = Math.min(100, Math.floor(100 * share))
      if (pct >= saidPct + 5 && pct < 100) {
        saidPct = pct
        const leftS = ((o.nowMs() - beganMs) * (1 / Math.max(share, 0.01) - 1)) / 1000
        o.say(
          `filled ${pct} %${o.fillHours >= 48 ? `: ${((toMs - fillFromMs) / 24 / HOUR).toFixed(0)} of ${(o.fillHours / 24).toFixed(0)} days, about ${Math.ceil(leftS)} s left` : ''}`,
        )
      }
    }
    for (const { loop, link } of sites) {
      loop.flush(link.send)
      loop.block(null)
    }
    await Promise.all(sites.map(({ link }) => link.drained(0)))
    if (!stopped) o.say('filled 100 %')
  }

  async function goLive(): Promise<void> {
    await prepare()
    if (stopped) return
    const startMs = o.nowMs()
    const startPlantMs = startMs - behindMs
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
        for (const { loop, link } of sites) live(loop, link, simMs)
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

  return {
    failed,
    live: live_,
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
