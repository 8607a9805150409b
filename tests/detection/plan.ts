/**
 * Where and when faults and look-alikes are planted: drawn from a seed, several on each loop with time to recover between, each row of the
 * table about as often as any other of its level, two loops without any. Between them people come on their rounds.
 */
import { within, type Site } from '../../gateway/site/site.ts'
import type { Fault } from '../../simulator/faults/fault.ts'
import { dayStart } from '../../simulator/process/washing.ts'
import { prng } from '../../simulator/random.ts'
import type { Label } from './label.ts'
import { SCENARIOS, type Scenario } from './scenarios.ts'

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
/** Nothing is planted before: whatever learns has this long, and it is counted. */
const SETTLED_DAYS = 10
const ROUND_DAYS = 21

/** What people say while they are there: on the loop page and in the site log. */
export interface Entry {
  readonly atMs: number
  readonly kind: 'visit-in' | 'visit-out' | 'calibration' | 'refill' | 'planned-work'
  /** Of planned work and of a visit: its announced end. */
  readonly untilMs?: number
  readonly about?: string
  readonly item?: string
  readonly value?: number
  readonly unit?: string
  readonly text?: string
}

export interface LoopPlan {
  readonly site: string
  readonly faults: readonly Fault[]
  readonly labels: readonly Label[]
  readonly log: readonly Entry[]
}

/** Loops that stay healthy: the last poor and the last normal one of the list, where there are more of that level. */
export function healthyOf(sites: readonly Site[]): readonly string[] {
  return (['poor', 'normal'] as const).flatMap((level) => {
    const of = sites.filter((s) => s.instrumentation === level)
    return of.length > 1 ? (of.at(-1)?.id ?? []) : []
  })
}

export function plan(sites: readonly Site[], fromMs: number, days: number, seed: number): readonly LoopPlan[] {
  const toMs = fromMs + days * DAY
  const healthy = healthyOf(sites)
  const quietMs = Math.min(SETTLED_DAYS, days / 4) * DAY
  const loops = sites.map((site) => ({ site, freeMs: fromMs + quietMs, faults: [] as Fault[], labels: [] as Label[], log: [] as Entry[], done: healthy.includes(site.id) }))
  const next = prng(seed, 'detection plan')
  // How often a row has been planted on a level; the rarest that fits comes next, chance decides between equals.
  const planted = new Map<string, number>()
  for (;;) {
    const loop = loops.filter((l) => !l.done).sort((a, b) => a.freeMs - b.freeMs)[0]
    if (!loop) break
    const { site } = loop
    const fitting = SCENARIOS.flatMap((s) => {
      if (s.fits && !s.fits(site)) return []
      const onsetMs = onset(s, site, loop.freeMs)
      const endMs = onsetMs + s.lastsH * HOUR
      return endMs + Math.min(s.afterH, 24) * HOUR > toMs ? [] : [{ s, onsetMs, endMs, rank: rankOf(s, site, planted.get(`${site.instrumentation} ${s.id}`) ?? 0) + 0.9 * next() }]
    }).sort((a, b) => a.rank - b.rank)
    const chosen = fitting[0]
    if (!chosen) {
      loop.done = true
      continue
    }
    const { s, onsetMs, endMs } = chosen
    const key = `${site.instrumentation} ${s.id}`
    planted.set(key, (planted.get(key) ?? 0) + 1)
    put(loop, s, onsetMs, endMs, seed)
    loop.freeMs = endMs + s.restDays * DAY + next() * DAY
  }
  return loops.map((l) => {
    rounds(l, fromMs, toMs)
    return { site: l.site.id, faults: l.faults, labels: l.labels, log: l.log.sort((a, b) => a.atMs - b.atMs) }
  })
}

/** Slow troubles fit only while there is time: on the many normal loops each goes first once. */
const rankOf = (s: Scenario, site: Site, times: number): number => (times === 0 && site.instrumentation === 'normal' && s.lastsH >= 20 * 24 ? -1 : times)

/** First local day from `freeMs` on that serves: its hour, and for a fault that needs washing a day the yard is open then. */
function onset(s: Scenario, site: Site, freeMs: number): number {
  let atMs = freeMs
  for (let i = 0; i < 14; i++, atMs += DAY) {
    const onsetMs = Math.round((dayStart(site.zone, atMs) + s.hour * HOUR) / 10_000) * 10_000
    if (onsetMs < freeMs) continue
    const washing = within(site.open, site.zone, onsetMs, true) && within(site.open, site.zone, onsetMs + HOUR, true)
    if (!s.weekday || washing) return onsetMs
  }
  return Math.round(freeMs / 10_000) * 10_000
}

interface Loop {
  readonly site: Site
  readonly faults: Fault[]
  readonly labels: Label[]
  readonly log: Entry[]
}

function put(loop: Loop, s: Scenario, onsetMs: number, endMs: number, seed: number): void {
  const { site } = loop
  const id = `${site.id} ${s.id} ${loop.labels.length + 1}`
  // The same fault comes in different sizes: from four fifths to six fifths of the plain one.
  const graded = s.kind !== 'link-out' && s.kind !== 'power-cut' && !s.air && s.kind !== 'dose-stuck'
  const size = (s.size ?? 1) * (graded ? 0.8 + 0.4 * prng(seed, id)() : 1)
  loop.faults.push({ id, kind: s.kind, site: site.id, onsetMs, endMs, size, ...(s.rampH !== undefined && { rampMs: s.rampH * HOUR }) })
  loop.labels.push({
    id,
    site: site.id,
    level: site.instrumentation,
    scenario: s.id,
    alike: s.alike,
    onsetMs,
    endMs,
    helpsToMs: onsetMs + s.helpsH * HOUR,
    explainsToMs: endMs + s.afterH * HOUR,
    names: s.names,
    follows: s.follows,
    seen: s.seen[site.instrumentation][0],
    air: s.air === true,
  })
  const visit = (inMs: number, outMs: number, text: string): void =>
    void loop.log.push({ atMs: inMs, kind: 'visit-in', untilMs: outMs, text }, { atMs: outMs, kind: 'visit-out', text })
  const act = (kind: 'visit' | 'reseeding' | 'calibration', atMs: number, lastsMs: number): void =>
    void loop.faults.push({ id: `${id} ${kind}`, kind, site: site.id, onsetMs: atMs, endMs: atMs + lastsMs })
  if (s.attended) {
    visit(onsetMs - 10 * MIN, endMs + 30 * MIN, s.what)
    // Tanks fill and machines settle for a while after somebody has gone.
    loop.log.push({ atMs: onsetMs - 5 * MIN, kind: 'planned-work', untilMs: endMs + 3 * HOUR, text: s.what })
  }
  if (s.id === 'F12 selector') visit(onsetMs - 50 * MIN, onsetMs + 10 * MIN, 'round')
  if (s.mended === 'visit') {
    act('visit', endMs, HOUR)
    visit(endMs - 20 * MIN, endMs + 40 * MIN, 'put right')
  } else if (s.mended === 'reseeding') {
    // Poison and starved cultures are dealt with two days later: what is left is thinned out, fresh culture goes in.
    const atMs = endMs + 2 * DAY
    act('visit', atMs, HOUR)
    act('reseeding', atMs, HOUR)
    visit(atMs - 10 * MIN, atMs + 70 * MIN, 'fresh culture')
    loop.log.push({ atMs, kind: 'refill', item: 'microbes', value: 20, unit: 'L' })
  } else if (s.mended === 'calibration') {
    // A look-alike of this kind is the calibration itself; a drift ends with one.
    const atMs = s.alike ? onsetMs : endMs
    const signal = s.kind === 'calibrated-oxygen' ? 'tu.do' : 'tu.ph'
    loop.log.push({ atMs, kind: 'calibration', about: signal, item: s.kind === 'calibrated-oxygen' ? 'air' : 'buffers 7 and 10', text: s.what })
    visit(atMs - 10 * MIN, atMs + 50 * MIN, 'calibration')
  }
}

/** Every three weeks somebody fills drums, wipes and calibrates the probes: at ten in the morning, not while a planted trouble lasts. */
function rounds(loop: Loop, fromMs: number, toMs: number): void {
  const { site } = loop
  for (let day = 7; fromMs + day * DAY < toMs - DAY; day += ROUND_DAYS) {
    const atMs = dayStart(site.zone, fromMs + day * DAY) + 10 * HOUR
    const busy = loop.labels.some((l) => atMs > l.onsetMs - 6 * HOUR && atMs < l.endMs + 6 * HOUR && l.endMs - l.onsetMs < 5 * DAY)
    if (busy) {
      day -= ROUND_DAYS - 1
      continue
    }
    loop.faults.push({ id: `${site.id} round ${day} calibration`, kind: 'calibration', site: site.id, onsetMs: atMs, endMs: atMs + HOUR / 2 })
    loop.faults.push({ id: `${site.id} round ${day} visit`, kind: 'visit', site: site.id, onsetMs: atMs + HOUR / 2, endMs: atMs + HOUR })
    loop.log.push({ atMs: atMs - 10 * MIN, kind: 'visit-in', untilMs: atMs + 70 * MIN, text: 'round' }, { atMs: atMs + 70 * MIN, kind: 'visit-out', text: 'round' })
    for (const [signal, item] of [
      ['tu.do', 'air'],
      ['tu.ph', 'buffers 7 and 10'],
    ] as const)
      if (site.signals.some((x) => x.id === signal)) loop.log.push({ atMs: atMs + 20 * MIN, kind: 'calibration', about: signal, item })
  }
}
