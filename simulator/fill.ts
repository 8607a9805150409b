/**
 * The past of a fleet, told behind its live readings: on connections of its own, by plants of its own. The newest day is told first and
 * in full, by the very plants that are live now run over that day; what is older follows, oldest first, in rows minutes apart.
 *
 * Nothing is told of a site before `gate`. How far it has come is given after the broker has acknowledged it; told to go on from
 * there, it runs the same plants again and sends only what is missing. Same seed, same stamps, same figures: what is sent twice is
 * the same reading.
 */
import type { Fault } from './faults/fault.ts'
import type { Labels } from './labels.ts'
import { openLink, type Link, type Login } from './link.ts'
import type { Loop } from './loop.ts'
import { meters, type Meters } from './meters.ts'
import type { PlantSpec } from './process/spec.ts'
import { prng } from './random.ts'
import { breathe, settle, unsettled } from './settled.ts'

export interface FillOptions {
  readonly specs: readonly PlantSpec[]
  readonly faults: readonly Fault[]
  readonly fromMs: number
  /** Where the live readings begin. */
  readonly toMs: number
  readonly url: string
  readonly prefix: string
  readonly logins: ReadonlyMap<string, Login | null>
  readonly clientSuffix: string
  readonly field: boolean
  readonly labels: Labels | null
  /** How far an earlier run had come, by site. */
  readonly told?: ReadonlyMap<string, Told>
  readonly onTold: (site: string, told: Told) => void
  /** Nothing is sent before. */
  readonly gate: Promise<void>
  readonly say: (line: string) => void
}

/** What has been told of a site and acknowledged: the newest day up to, the older past up to, and its counters. */
export interface Told {
  readonly recentMs: number
  readonly olderMs: number
  readonly meters: boolean
  /** First figure of each counter in the newest day, once that is told: where the counters of the older past have to arrive. */
  readonly joins?: Readonly<Record<string, number>>
}

export interface Fill {
  /** Resolves when all is told, or the fill was stopped. */
  readonly over: Promise<void>
  stop(): Promise<void>
  counters(): { readonly sent: number; readonly dropped: number }
}

const HOUR = 3_600_000
/** The newest stretch is told in full: ninety days of ten-second rows would be a quarter of an hour's work for a gateway. */
const RECENT_MS = 24 * HOUR
const THIN_MS = 5 * 60_000
const RECENT_SLICE_MS = 2 * HOUR
const OLDER_SLICE_MS = 6 * HOUR
const ROWS_PER_MESSAGE = 36
const QUEUE = 2000
/** One at a time, and small: a gateway that is busy with the past of eight loops must not keep a live reading or a page waiting. */
const IN_FLIGHT = 1
/** How often the truth is looked at. */
const LOOK_MS = 60_000

/** Where the older past ends and the newest day begins. */
export const recentFrom = (fromMs: number, toMs: number): number => Math.max(fromMs, toMs - RECENT_MS)

export const nothingTold = (fromMs: number, toMs: number): Told => ({ recentMs: recentFrom(fromMs, toMs), olderMs: fromMs, meters: false })

/** Share of a fill that is told, 0 to 1. */
export function shareOf(told: Iterable<Told>, fromMs: number, toMs: number): number {
  let sum = 0
  let n = 0
  const recent = recentFrom(fromMs, toMs)
  // The newest day is as dear as four days of the older past.
  const whole = 4 * (toMs - recent) + (recent - fromMs)
  for (const t of told) {
    sum += (4 * (t.recentMs - recent) + (t.olderMs - fromMs)) / whole
    n++
  }
  return n === 0 ? 0 : sum / n
}

interface Teller {
  readonly spec: PlantSpec
  readonly link: Link
  readonly meters: Meters
  /** First figure of each counter in the newest day. */
  readonly joins: Map<string, number>
  told: Told
  readonly marks: { readonly upTo: number; readonly told: Partial<Told> }[]
}

export function startFill(o: FillOptions): Fill {
  let stopped = false
  const joinMs = recentFrom(o.fromMs, o.toMs)
  const tellers = o.specs.map((spec): Teller => {
    const site = spec.site.id
    const told = o.told?.get(site) ?? nothingTold(o.fromMs, o.toMs)
    const link = openLink({
      url: o.url,
      site,
      login: o.logins.get(site) ?? null,
      clientSuffix: o.clientSuffix,
      topic: `${o.prefix}/${site}`,
      queue: QUEUE,
      inFlight: IN_FLIGHT,
      next: prng(spec.seed, `past ${site}`),
      off: true,
      say: o.say,
    })
    return { spec, link, meters: meters(spec.site), joins: new Map(Object.entries(told.joins ?? {})), told, marks: [] }
  })
  void o.gate.then(() => tellers.forEach(({ link }) => !stopped && link.radio(true)))

  /** What has been acknowledged by now is told. */
  const note = (t: Teller): void => {
    for (let first = t.marks[0]; first && t.link.counters.sent >= first.upTo; first = t.marks[0]) {
      t.marks.shift()
      t.told = { ...t.told, ...first.told }
      o.onTold(t.spec.site.id, t.told)
    }
  }
  const mark = (t: Teller, told: Partial<Told>): void => void t.marks.push({ upTo: t.link.counters.sent + t.link.waiting(), told })
  const allTaken = async (atMost: number): Promise<void> => {
    await Promise.all(tellers.map(({ link }) => link.drained(atMost)))
    tellers.forEach(note)
  }

  async function tell(part: 'recent' | 'older'): Promise<void> {
    const [fromMs, toMs, sliceMs] = part === 'recent' ? [joinMs, o.toMs, RECENT_SLICE_MS] : [o.fromMs, joinMs, OLDER_SLICE_MS]
    // A told reading that is not what the water was goes to the labels; of what was told before they know already.
    let fresh = false
    const wanted = part === 'recent' ? tellers.filter((t) => t.told.joins === undefined) : tellers
    const run = wanted.map((t) => {
      const site = t.spec.site.id
      const field = o.field ? { tell: (a: Parameters<Labels['artefact']>[1]) => fresh && o.labels?.artefact(site, a) } : null
      const loop = unsettled(t.spec, o.faults, fromMs, part === 'recent' ? joinMs - o.fromMs : 0, field)
      return { t, loop }
    })
    for (const { loop } of run) await settle(loop, fromMs, fromMs, () => stopped)
    for (const { loop } of run) loop.block(ROWS_PER_MESSAGE, part === 'recent' ? 0 : THIN_MS)
    for (let atMs = fromMs; atMs < toMs && !stopped; ) {
      const nextMs = Math.min(atMs + sliceMs, toMs)
      for (const { t, loop } of run) {
        fresh = nextMs > (part === 'recent' ? t.told.recentMs : t.told.olderMs)
        const send = part === 'recent' ? joining(t, fresh) : holding(t, fresh)
        // The join itself belongs to what comes after it.
        advance(loop, nextMs - (nextMs === toMs ? 1 : 0), send, fresh)
        loop.flush(send)
        if (part === 'older' && fresh) mark(t, { olderMs: nextMs })
        if (part === 'recent') mark(t, { recentMs: Math.max(t.told.recentMs, nextMs), ...(nextMs === toMs && { joins: Object.fromEntries(t.joins) }) })
        await breathe()
      }
      atMs = nextMs
      // Before the gate opens the newest day is made ready; nothing else waits so long.
      await allTaken(part === 'recent' ? QUEUE / 2 : 2)
    }
    await allTaken(0)
  }

  function advance(loop: Loop, toMs: number, send: (payload: string) => void, fresh: boolean): void {
    for (let atMs = loop.plant.nowMs; atMs < toMs; atMs = Math.min(toMs, atMs + LOOK_MS)) {
      loop.advance(Math.min(toMs, atMs + LOOK_MS), send)
      if (fresh) o.labels?.look(loop.plant)
    }
  }

  const joining =
    (t: Teller, fresh: boolean) =>
    (payload: string): void => {
      firstFigures(payload, t.joins)
      if (fresh) t.link.send(payload)
    }
  const holding =
    (t: Teller, fresh: boolean) =>
    (payload: string): void => {
      const rest = t.meters.hold(payload)
      if (fresh && rest !== null) t.link.send(rest)
    }

  async function tellMeters(): Promise<void> {
    for (const t of tellers) {
      if (t.told.meters || stopped) continue
      for (const payload of t.meters.release(t.joins)) {
        t.link.send(payload)
        await t.link.drained(4)
      }
      mark(t, { meters: true })
    }
    await allTaken(0)
  }

  async function all(): Promise<void> {
    await tell('recent')
    if (joinMs > o.fromMs && !stopped) await tell('older')
    if (!stopped) await tellMeters()
    await Promise.all(tellers.map(({ link }) => link.close()))
  }

  const over = all()
  return {
    over,
    async stop() {
      stopped = true
      await Promise.all(tellers.map(({ link }) => link.close()))
      await over.catch(() => undefined)
    },
    counters: () => ({ sent: tellers.reduce((s, t) => s + t.link.counters.sent, 0), dropped: tellers.reduce((s, t) => s + t.link.counters.dropped, 0) }),
  }
}

/** Notes the first figure of each signal that is not known yet. */
function firstFigures(payload: string, into: Map<string, number>): void {
  if (into.size > 0) return
  const o = JSON.parse(payload) as { names?: string[]; rows?: (readonly (number | null)[] | { signals: Record<string, number | null> })[] }
  const row = o.rows?.[0]
  if (!row) return
  const pairs: [string, number | null | undefined][] = 'signals' in row ? Object.entries(row.signals) : (o.names ?? []).map((n, i) => [n, row[i + 1]])
  for (const [id, v] of pairs) if (typeof v === 'number') into.set(id, v)
}
