/**
 * Outlook of the loops, worked out when somebody asks and kept for a few minutes: what comes next, and what is normal. One loop at a time, so that a
 * page opened by ten people costs once and a list of loops asked together cannot hold up the readings. The first normals are
 * frozen by a slow walk round all loops, also of those nobody looks at.
 */
import type { StateSpan } from './alarms/loop-state.ts'
import type { Clock } from './clock.ts'
import type { HistoryReader } from './history/history.ts'
import type { SiteLog } from './log/entry.ts'
import type { NormalFiles, Sheet } from './normal-files.ts'
import { conditionsOf, firstNormal, LEARN_DAYS, type Learned, normalOf, type Normal } from './outlook/normal.ts'
import { forecasts } from './outlook/forecasts.ts'
import { PAUSE_WORDS, pausesOf } from './outlook/pauses.ts'
import { learnedSignals } from './outlook/learn-what.ts'
import { washedOf, washSignal } from './outlook/washed.ts'
import { breathe, hoursOf, readLoop } from './outlook-read.ts'
import type { Counter, GatewayPort, LoopForecasts, LoopNormals, SiteState } from './port.ts'
import { replacementsOf } from './process/counter-defaults.ts'
import { pausedBy } from './trends/learning.ts'
import { freeze } from './trends/two-normals.ts'
import { temperatureOf, biology } from './vitals/places.ts'

const HOUR_MS = 3_600_000
const DAY_MS = 24 * HOUR_MS
/** An answer is given again so long. */
const FORECASTS_FOR_MS = 5 * 60_000
const NORMALS_FOR_MS = 30 * 60_000
/** Loops whose answers are kept; the one asked for longest ago goes. */
const MOST_KEPT = 200
/** Every loop is looked at once in so long for a first normal. */
const ROUND_MS = DAY_MS
const MOST_EVENTS = 5000

export interface OutlookKeeper extends Pick<GatewayPort, 'forecasts' | 'normals'> {
  /** Once a second. */
  tick(): void
  /** What may be learned from has changed: the next question is answered anew. */
  forget(site: string): void
  counters(): readonly Counter[]
  /** Waits for what is being worked out. */
  stop(): Promise<void>
}

export interface OutlookParts {
  readonly clock: Clock
  readonly history: HistoryReader
  readonly log: SiteLog
  readonly files: NormalFiles
  readonly sites: () => readonly SiteState[]
  readonly site: (id: string) => SiteState | null
  /** Spans in which the loop was in a state that teaches nothing, and others. */
  readonly states: (site: string) => Promise<readonly StateSpan[]>
  readonly gateway: Pick<GatewayPort, 'alarmsOf' | 'vitals' | 'journal'>
}

interface Kept<T> {
  readonly untilMs: number
  readonly answer: Promise<T>
}

export function startOutlook(parts: OutlookParts): OutlookKeeper {
  const { clock, history } = parts
  const forecastsKept = new Map<string, Kept<LoopForecasts>>()
  const normalsKept = new Map<string, Kept<LoopNormals>>()
  let line: Promise<unknown> = Promise.resolve()
  let waiting = 0
  let made = 0
  let takenMs = 0
  let failed = 0
  let notKept = 0
  let stopped = false
  let turn = 0
  let nextMs = clock.steadyMs() + 60_000

  /** One after the other. */
  const inTurn = <T>(work: () => Promise<T>): Promise<T> => {
    waiting++
    const answer = line.then(async () => {
      const fromMs = clock.steadyMs()
      try {
        return await work()
      } catch (e) {
        failed++
        throw e
      } finally {
        waiting--
        made++
        takenMs += clock.steadyMs() - fromMs
      }
    })
    line = answer.catch(() => undefined)
    return answer
  }
  const kept = <T>(all: Map<string, Kept<T>>, site: string, forMs: number, work: () => Promise<T>): Promise<T> => {
    const was = all.get(site)
    if (was && clock.steadyMs() < was.untilMs) return was.answer
    const answer = inTurn(work)
    all.delete(site)
    all.set(site, { untilMs: clock.steadyMs() + forMs, answer })
    // A failure is not kept.
    answer.catch(() => all.delete(site))
    if (all.size > MOST_KEPT) all.delete(all.keys().next().value as string)
    return answer
  }
  const known = async (state: SiteState) => ({
    site: state.site,
    nowMs: clock.nowMs(),
    log: await parts.log.list({ site: state.site.id, fromMs: 0, toMs: clock.nowMs() + 1, limit: 10_000 }),
    alarms: parts.gateway.alarmsOf(state.site.id),
  })

  const makeForecasts = async (state: SiteState): Promise<LoopForecasts> => {
    const k = await known(state)
    return { atMs: k.nowMs, expected: forecasts(await readLoop(history, k)) }
  }

  const makeNormals = async (state: SiteState): Promise<LoopNormals> => {
    const k = await known(state)
    const { site, nowMs, log } = k
    const toMs = Math.floor(nowMs / HOUR_MS) * HOUR_MS
    const fromMs = toMs - LEARN_DAYS * DAY_MS
    const hours = (toMs - fromMs) / HOUR_MS
    const wash = washedOf({ ...k, days: [], hours: new Map(await washHours(site, fromMs, toMs)), runHours: new Map(), beforeDoses: new Map(), recent: new Map() })
    const tank = biology(site)[0]
    const water = tank ? temperatureOf(site, tank.id) : null
    const c = conditionsOf(fromMs, hours, wash?.hourL ?? null, water ? await hoursOf(history, site.id, water.signal.id, fromMs, toMs) : null)
    const events = await parts.gateway.journal({ site: site.id, fromMs, toMs: nowMs + 1, limit: MOST_EVENTS })
    const pauses = pausesOf(events, k.alarms, log, nowMs, await parts.states(site.id))
    const sheet = parts.files.read(site.id)
    let next: Sheet = sheet
    const normals: Normal[] = []
    for (const s of learnedSignals(state, parts.gateway.vitals(site.id))) {
      const l: Learned = { ...s, isWater: s.id === water?.signal.id, hours: await hoursOf(history, site.id, s.id, fromMs, toMs), replacedMs: replacementsOf(log, s) }
      const lastReplacedMs = l.replacedMs.length === 0 ? null : Math.max(...l.replacedMs)
      let first = next.get(l.id)?.at(-1) ?? null
      if (first === null || (lastReplacedMs !== null && first.atMs < lastReplacedMs)) {
        const found = firstNormal(l, c, pauses)
        if (found) next = freeze(next, l.id, found, lastReplacedMs)
        first = found
      }
      normals.push(normalOf(l, c, pauses, first, nowMs))
      await breathe()
    }
    if (next !== sheet && !parts.files.write(site.id, next)) notKept++
    const pause = pausedBy(nowMs, pauses)
    return { atMs: nowMs, paused: pause && PAUSE_WORDS[pause.why], normals }
  }
  const washHours = async (site: SiteState['site'], fromMs: number, toMs: number) => {
    const signal = washSignal(site)?.signal
    return signal ? [[signal.id, await hoursOf(history, site.id, signal.id, fromMs, toMs)] as const] : []
  }

  return {
    async forecasts(id) {
      const state = parts.site(id)
      return state ? kept(forecastsKept, id, FORECASTS_FOR_MS, () => makeForecasts(state)) : null
    },
    async normals(id) {
      const state = parts.site(id)
      return state ? kept(normalsKept, id, NORMALS_FOR_MS, () => makeNormals(state)) : null
    },
    forget: (site) => void normalsKept.delete(site),
    tick() {
      if (stopped || clock.steadyMs() < nextMs || waiting > 0) return
      const all = parts.sites()
      nextMs = clock.steadyMs() + Math.max(10_000, ROUND_MS / Math.max(1, all.length))
      const state = all[turn++ % Math.max(1, all.length)]
      if (state) kept(normalsKept, state.site.id, NORMALS_FOR_MS, () => makeNormals(state)).catch(() => undefined)
    },
    counters: () => [
      { name: 'outlooksMade', value: made, what: 'Forecasts and normal bands worked out since start, one loop each.' },
      { name: 'outlookMs', value: Math.round(takenMs), what: 'Time they took together, ms; readings go first meanwhile.' },
      { name: 'outlooksWaiting', value: waiting, what: 'Loops whose forecasts or bands wait to be worked out; each loop waits once.' },
      { name: 'outlooksFailed', value: failed, what: 'Times they could not be worked out; the page says so.' },
      { name: 'normalsNotKept', value: notKept, what: 'Times the disk did not take a frozen first normal; it is tried again.' },
    ],
    async stop() {
      stopped = true
      await line
    },
  }
}
