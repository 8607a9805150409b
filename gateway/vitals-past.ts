/**
 * The past of vitals. Readings that an import, an upgrade or a store of a controller put into the history behind the live ones are gone through again, in
 * the order of their times, by vitals of their own that begin with nothing; what those compute is stored where nothing was computed live. What was
 * told stays told.
 *
 *    look:    readings of 90 days, less what vitals were told of, by half hours: holes of an hour or more
 *    replay:  slices of some thousand readings, oldest first; after each the computed readings are stored, then is written down how far it came
 *    end:     at the end of the newest hole; or, where the live vitals remember less than a week, at now, and these vitals take over
 *
 * A loop is looked at when it has no file of its past (first start, after an import), and when readings older than an hour have come and settled.
 * One loop at a time, a part of each second, in pieces between which everything else goes first.
 */
import { setImmediate as breathe } from 'node:timers/promises'
import type { Clock } from './clock.ts'
import type { History } from './history/history.ts'
import type { LogEntry, SiteLog } from './log/entry.ts'
import type { Counter } from './port.ts'
import { keyOf, type Reading, siteOfKey } from './site/reading.ts'
import type { Site } from './site/site.ts'
import { createVitals, type Vitals } from './vitals/evaluator.ts'
import { holesOf, inOrder, SLOT_MS, type StoredSeries, type Stretch, within } from './vitals/past.ts'
import type { VitalsKeeper } from './vitals-keeper.ts'
import type { PastFiles, PastState, UnderWay } from './vitals-past-files.ts'

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
/** Bands and comparisons look back so far. */
export const PAST_MS = 90 * DAY
/** Live vitals that remember less have not told what stands on a week. */
const YOUNG_MS = 7 * DAY
/** A reading older than this on arrival is one of the past. */
const LATE_MS = HOUR
/** Late readings have settled when none came for so long, or they have come for so long. */
const SETTLED_MS = 2 * MIN
const LONGEST_WAIT_MS = 6 * HOUR
/** After a replay late readings of a loop are looked at again after so long: a controller may bring some every hour. */
const NOT_SOONER_MS = DAY
/** The start has enough to do. */
const START_MS = MIN
/** Work of one tick, which comes once a second. */
const WORK_MS = 200
const WORK_READINGS = 50_000
/** Readings taken between two breaths, some 3 ms. */
const PIECE = 500
const MOST_OF_A_KEY = 4000
const SLICE_READINGS = { least: 5000, most: 20_000 } as const
const SLICE_MS = { least: MIN, first: 6 * HOUR, most: 4 * DAY } as const
const BATCH = 1000
const MOST_MEANWHILE = 20_000
const MOST_ENTRIES = 20_000

export interface VitalsPast {
  /** Readings of some messages, stored a moment ago and seen by the live vitals. */
  onReadings(readings: readonly Reading[]): void
  onEntry(entry: LogEntry): void
  /** Site files were read again. */
  follow(sites: ReadonlyMap<string, Site>): void
  /** Once a second. */
  tick(): void
  counters(): readonly Counter[]
  troubles(): readonly string[]
  /** What is not written down is done again after the next start. */
  stop(): Promise<void>
}

export interface VitalsPastParts {
  readonly sites: ReadonlyMap<string, Site>
  readonly clock: Clock
  readonly files: PastFiles
  readonly history: Pick<History, 'append' | 'range' | 'buckets' | 'extent'>
  readonly log: Pick<SiteLog, 'list'>
  readonly live: Pick<VitalsKeeper, 'of' | 'sinceMs' | 'takeOver'>
}

interface Slice {
  readonly toMs: number
  readonly readings: Iterator<Reading>
  readonly count: number
  /** It reaches to now: when it is over these vitals take over. */
  readonly last: boolean
  over: boolean
  /** Computed, not stored yet. */
  out: Reading[]
}

interface Job {
  readonly site: Site
  readonly plan: UnderWay
  readonly vitals: Vitals
  /** Entries of the log not noted yet, oldest first. */
  entries: LogEntry[]
  cursorMs: number
  /** Time of the newest reading taken. */
  atMs: number
  spanMs: number
  slice: Slice | null
  /** Live readings since the last slice was read; null: it has not been. */
  meanwhile: Reading[] | null
  again: boolean
}

export function startVitalsPast(parts: VitalsPastParts): VitalsPast {
  const { clock, files, history, live } = parts
  const startedMs = clock.steadyMs()
  let { sites } = parts
  /** Loops to be looked at, each once. */
  const queue = new Set<string>(sites.keys())
  /** Loops late readings have come of and that were not looked at since; steady time of the first and the newest. */
  const late = new Map<string, { firstMs: number; lastMs: number }>()
  const notBefore = new Map<string, number>()
  const failed = new Map<string, string>()
  let job: Job | null = null
  let busy: Promise<void> | null = null
  let stopped = false
  const counts = { replayed: 0, given: 0, readings: 0, workMs: 0, refused: 0, notKept: 0, tookOver: 0 }

  const write = (site: string, state: PastState): void => {
    if (!files.write(site, state)) counts.notKept++
  }
  const noteLate = (site: string): void => {
    if (!sites.has(site)) return
    const nowMs = clock.steadyMs()
    const was = late.get(site)
    if (was) {
      if (nowMs - was.lastMs >= SETTLED_MS) was.firstMs = nowMs
      was.lastMs = nowMs
      return
    }
    late.set(site, { firstMs: nowMs, lastMs: nowMs })
    queue.add(site)
    if (job?.site.id === site) job.again = true
    const state = files.read(site)
    if (state && !state.again) write(site, { ...state, again: true })
  }
  const settled = (site: string): boolean => {
    const l = late.get(site)
    return !l || clock.steadyMs() - l.lastMs >= SETTLED_MS || clock.steadyMs() - l.firstMs >= LONGEST_WAIT_MS
  }

  /** The next loop whose past is to be gone through; looks at one loop at most. */
  async function nextJob(): Promise<Job | null> {
    for (const id of queue) {
      const site = sites.get(id)
      if (!site || !settled(id) || clock.nowMs() < (notBefore.get(id) ?? 0)) continue
      const state = files.read(id)
      await breathe()
      if (state?.underWay) return open(site, state.underWay, state.again)
      if (state && !state.again) {
        queue.delete(id)
        continue
      }
      if (state?.replayedMs != null && clock.nowMs() - state.replayedMs < NOT_SOONER_MS) {
        notBefore.set(id, state.replayedMs + NOT_SOONER_MS)
        continue
      }
      late.delete(id)
      const plan = await look(site)
      if (stopped || sites.get(id) !== site) return null
      if (!late.has(id)) queue.delete(id)
      write(id, { underWay: plan, replayedMs: state?.replayedMs ?? null, again: late.has(id) })
      if (plan) queue.add(id)
      return plan && open(site, plan, late.has(id))
    }
    return null
  }

  async function look(site: Site): Promise<UnderWay | null> {
    const nowMs = clock.nowMs()
    const keys = site.signals.map((s) => keyOf(site.id, s.id))
    let oldestMs = Number.POSITIVE_INFINITY
    for (const key of keys) {
      oldestMs = Math.min(oldestMs, (await history.extent(key))?.firstMs ?? Number.POSITIVE_INFINITY)
      await breathe()
    }
    const fromMs = Math.floor(Math.max(oldestMs, nowMs - PAST_MS) / SLOT_MS) * SLOT_MS
    const slots = Math.floor((nowMs - fromMs) / SLOT_MS)
    if (!(slots > 0)) return null
    const told = Array.from({ length: slots }, () => false)
    for (const { def } of live.of(site.id)) {
      if (def.unobservable !== null) continue
      const [series] = await history.buckets([keyOf(site.id, def.id)], fromMs, fromMs + slots * SLOT_MS, slots)
      for (const [i, b] of (series?.buckets ?? []).entries()) if (b.count + b.bad > 0) told[i] = true
      await breathe()
    }
    const holes = await heard(holesOf(told, fromMs), keys)
    const sinceMs = live.sinceMs(site.id)
    const takeOver = sinceMs === null || (sinceMs > nowMs - YOUNG_MS && sinceMs > fromMs + HOUR)
    return holes.length === 0 ? null : { fromMs, holes, takeOver, cursorMs: fromMs, kept: null, running: null }
  }

  /** Those of the stretches in which some key has a reading. */
  async function heard(stretches: readonly Stretch[], keys: readonly string[]): Promise<readonly Stretch[]> {
    let unknown = [...stretches]
    const found = new Set<Stretch>()
    for (const key of keys) {
      for (const s of unknown) if ((await history.range(key, s.fromMs, s.toMs, 1)).length > 0) found.add(s)
      unknown = unknown.filter((s) => !found.has(s))
      if (unknown.length === 0) break
      await breathe()
    }
    return stretches.filter((s) => found.has(s))
  }

  async function open(site: Site, plan: UnderWay, again: boolean): Promise<Job> {
    const all = await parts.log.list({ site: site.id, fromMs: 0, toMs: clock.nowMs() + 1, limit: MOST_ENTRIES })
    // What a later entry put right was never so.
    const wrong = new Set(all.flatMap((e) => e.corrects ?? []))
    const entries = all.filter((e) => !wrong.has(e.id) && (plan.kept === null || e.atMs >= plan.cursorMs)).toReversed()
    const vitals = createVitals(site, plan.kept, plan.running)
    return { site, plan, vitals, entries, cursorMs: plan.cursorMs, atMs: plan.cursorMs - 1, spanMs: SLICE_MS.first, slice: null, meanwhile: null, again }
  }

  /** null: too much at once; the next try takes a shorter stretch. */
  async function sliceOf(j: Job): Promise<Slice | null> {
    const nowMs = clock.nowMs()
    const endMs = j.plan.takeOver ? nowMs : (j.plan.holes.at(-1)?.toMs ?? j.cursorMs)
    const last = j.plan.takeOver && j.cursorMs + j.spanMs >= endMs
    const toMs = Math.min(j.cursorMs + j.spanMs, endMs)
    // From here on what comes in live is taken down beside: the readings below may or may not hold it, and twice is once.
    if (last) j.meanwhile = []
    const series: StoredSeries[] = []
    let count = 0
    const limit = j.spanMs <= SLICE_MS.least ? Number.MAX_SAFE_INTEGER : MOST_OF_A_KEY
    for (const s of j.site.signals) {
      const key = keyOf(j.site.id, s.id)
      const readings = await history.range(key, j.cursorMs, last ? toMs + DAY : toMs, limit)
      await breathe()
      if (readings.length >= limit) {
        j.spanMs = Math.max(SLICE_MS.least, j.spanMs / 2)
        j.meanwhile = null
        return null
      }
      count += readings.length
      if (readings.length > 0) series.push({ key, readings })
    }
    if (count > SLICE_READINGS.most) j.spanMs = Math.max(SLICE_MS.least, j.spanMs / 2)
    else if (count < SLICE_READINGS.least) j.spanMs = Math.min(SLICE_MS.most, j.spanMs * 2)
    return { toMs, readings: inOrder(series), count, last, over: false, out: [] }
  }

  const takeInto = (j: Job, s: Slice, r: Reading): void => {
    while ((j.entries[0]?.atMs ?? Number.POSITIVE_INFINITY) <= r.sourceMs) j.vitals.note(j.entries.shift() as LogEntry)
    for (const c of j.vitals.take([r])) if (within(j.plan.holes, c.sourceMs)) s.out.push(c)
    j.atMs = Math.max(j.atMs, r.sourceMs)
  }

  /** Stores what is computed of a slice; false: the history did not take it, and it is offered again. */
  async function store(s: Slice): Promise<boolean> {
    while (s.out.length > 0) {
      const batch = s.out.slice(0, BATCH)
      try {
        await history.append(batch)
      } catch {
        counts.refused++
        return false
      }
      s.out = s.out.slice(batch.length)
      counts.given += batch.length
      await breathe()
    }
    return true
  }

  async function work(j: Job): Promise<void> {
    const fromMs = clock.steadyMs()
    const current = (): boolean => job === j && !stopped
    for (let taken = 0; current() && taken < WORK_READINGS && clock.steadyMs() - fromMs < WORK_MS; ) {
      if (!j.slice) {
        const next = await sliceOf(j)
        if (!current()) return
        j.slice = next
        taken += (next?.count ?? 0) === 0 ? PIECE : 0
        continue
      }
      const { slice } = j
      for (let n = 0; n < PIECE && !slice.over; n++) {
        const { value, done } = slice.readings.next()
        if (done === true) {
          slice.over = true
          break
        }
        takeInto(j, slice, value)
        counts.readings++
      }
      taken += PIECE
      await breathe()
      if (!slice.over) continue
      if (!current() || !(await store(slice)) || !current()) return
      if (end(j, slice)) return
    }
  }

  /** After a slice; true: the past of this loop is gone through. */
  function end(j: Job, slice: Slice): boolean {
    j.slice = null
    if (slice.last) {
      if (j.meanwhile === null) return false
      for (const r of j.meanwhile) takeInto(j, slice, r)
      for (const e of j.entries.splice(0)) j.vitals.note(e)
      live.takeOver(j.site.id, j.vitals)
      counts.tookOver++
    }
    j.cursorMs = slice.toMs
    const over = slice.last || (!j.plan.takeOver && j.cursorMs >= (j.plan.holes.at(-1)?.toMs ?? 0))
    if (over) return finish(j)
    write(j.site.id, { underWay: { ...j.plan, cursorMs: j.cursorMs, kept: j.vitals.keep(), running: j.vitals.running() }, replayedMs: null, again: j.again })
    return false
  }

  function finish(j: Job): true {
    counts.replayed++
    write(j.site.id, { underWay: null, replayedMs: clock.nowMs(), again: j.again })
    if (!j.again) queue.delete(j.site.id)
    job = null
    return true
  }

  async function step(): Promise<void> {
    const fromMs = clock.steadyMs()
    try {
      job ??= await nextJob()
      if (job && !stopped) await work(job)
    } catch (e) {
      // A loop whose past cannot be gone through goes without it; the others go on.
      if (job) {
        failed.set(job.site.id, e instanceof Error ? e.message : String(e))
        finish(job)
      } else counts.refused++
    } finally {
      counts.workMs += clock.steadyMs() - fromMs
      busy = null
    }
  }

  return {
    onReadings(readings) {
      let before = ''
      for (const r of readings) {
        if (r.receivedMs - r.sourceMs <= LATE_MS) continue
        const site = r.key.startsWith(before) && before !== '' ? before.slice(0, -1) : siteOfKey(r.key)
        if (before === `${site}/`) continue
        before = `${site}/`
        noteLate(site)
      }
      if (job?.meanwhile) {
        const own = `${job.site.id}/`
        for (const r of readings) if (r.key.startsWith(own)) job.meanwhile.push(r)
        // Too many to wait: the last slice is read anew.
        if (job.meanwhile.length > MOST_MEANWHILE) job = null
      }
    },
    onEntry(entry) {
      if (job?.site.id !== entry.site) return
      job.entries = job.entries.filter((e) => e.id !== entry.corrects)
      if (entry.atMs <= job.atMs) job.vitals.note(entry)
      else job.entries = [...job.entries, entry].toSorted((a, b) => a.atMs - b.atMs || a.id - b.id)
    },
    follow(now) {
      for (const id of queue) if (!now.has(id)) queue.delete(id)
      for (const id of now.keys()) if (!sites.has(id)) queue.add(id)
      // It goes on from the last slice that is written down, by the new site file.
      if (job && now.get(job.site.id) !== job.site) job = null
      sites = now
    },
    tick() {
      if (busy || stopped || clock.steadyMs() - startedMs < START_MS) return
      if (job === null && queue.size === 0) return
      busy = step()
    },
    counters: () => [
      { name: 'vitalsPastWaiting', value: queue.size, bound: sites.size, what: 'Loops whose past is still to be looked at or gone through for vitals; each waits once.' },
      { name: 'vitalsPastLoops', value: counts.replayed, what: 'Loops whose past vitals have gone through since start.' },
      { name: 'vitalsPastGiven', value: counts.given, what: 'Computed readings of the past, stored since start.' },
      { name: 'vitalsPastReadings', value: counts.readings, what: 'Readings gone through for them.' },
      { name: 'vitalsPastMs', value: Math.round(counts.workMs), what: 'Time it took, ms; everything else goes first meanwhile.' },
      { name: 'vitalsPastRefused', value: counts.refused, what: 'Times the history did not answer or take them; it is tried again.' },
      { name: 'vitalsPastNotKept', value: counts.notKept, what: 'Times the disk did not take how far it is.' },
    ],
    troubles: () => [...failed].map(([site, why]) => `The past of vitals of ${site} could not be gone through: ${why}. They go on from now.`),
    async stop() {
      stopped = true
      await busy
    },
  }
}
