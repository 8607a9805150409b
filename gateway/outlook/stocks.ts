/**
 * When is the roll used up, the drum empty? What is left comes from a level where there is one, else from the newest refill in the site log less
 * what the pump has given since. What goes comes from the days behind: so much a cubic metre washed times the cubic metres expected on
 * the days to come; where washing does not drive it, so much a day.
 * Where a drum has both a pump that is counted and a level, the level over weeks says what the pump truly gives, and the pump when.
 * source  doubt about the stroke of a dosing pump (10 %, 20 % where its contact is looked at more seldom than a pulse lasts) and about a
 *         level (2 % of a drum): common practice, no source
 */
import type { LogEntry } from '../log/entry.ts'
import type { NotObservable } from '../process/range.ts'
import type { Consumable, Equipment, Signal, Site } from '../site/site.ts'
import { type Demand, demandOf } from '../trends/demand.ts'
import type { ComingDay, Stock } from '../trends/run-out.ts'
import { runOut } from '../trends/run-out.ts'
import { type WashRate, washRate } from '../trends/wash-rate.ts'
import { byDay, counted, emptyDays, fallsByDay } from './day-amounts.ts'
import { type Expected, inSentence, waiting } from './expected.ts'
import { standing, type StoredLoop } from './stored.ts'
import type { Washed } from './washed.ts'

const STROKE_SHARE = 0.1
const SELDOM_SHARE = 0.2
const SELDOM_MS = 20_000
const LEVEL_SHARE = 0.02
/** A roll is changed with some paper on it, or after it ran out. */
const ROLL_SHARE = 0.05

interface Use {
  /** Each whole day, unit of the stock. */
  readonly perDay: readonly (number | null)[]
  /** Today so far; null: not known. */
  readonly today: number | null
  readonly by: string
  /** Doubt about what was used, share. */
  readonly share: number
}

export function stocks(s: StoredLoop, washed: Washed | null, coming: readonly ComingDay[]): readonly Expected[] {
  return s.site.consumables.map((c) => (c.unit === 'm' ? paper(s, c, washed, coming) : drum(s, c, washed, coming)))
}

const blind = (c: Consumable, stage: string | null, because: string, unlock: string, left: Expected['left'] = null): Expected => ({
  id: c.id,
  what: `${c.name} used up`,
  stage,
  kind: 'stock',
  outlook: { kind: 'not-observable', because },
  basis: null,
  left,
  unlock,
})

function drum(s: StoredLoop, c: Consumable, washed: Washed | null, coming: readonly ComingDay[]): Expected {
  const pump = s.site.equipment.find((e) => e.kind === 'dosing' && (e.id === c.id || e.doses === c.id))
  const stage = pump?.serves[0] ?? null
  const level = levelSignal(s.site, c, pump)
  const byPump = pump ? pumped(s, pump) : null
  const use = byPump ? (level ? gauged(s, c, level, byPump) : byPump) : level && fallen(s, c, level)
  if (!use) return blind(c, stage, pump ? notCounted(s.site, pump) : 'nothing counts what is taken of it', unlockOf(s.site, c, pump))
  const measured = level && byLevel(s, c, level)
  return line(s, c, stage, measured ?? sinceRefill(s, c, use), use, measured ? use.share : 0, washed, coming)
}

/**
 * alikeShare  doubt about every litre to come alike, which does not shrink beside the sum. 0 where the same doubt stands in the stock: of a drum
 *             filled with so much, a pump that gives more has taken more and will take more, so it is one error on all that was filled in
 */
function line(s: StoredLoop, c: Consumable, stage: string | null, stock: Stock, use: Use, alikeShare: number, washed: Washed | null, coming: readonly ComingDay[]): Expected {
  const rate = washed ? washRate(s.days.map((_, i) => ({ washedM3: washed.m3[i] ?? null, used: use.perDay[i] ?? null }))) : null
  const kinds = (amounts: readonly (number | null)[]): Demand | NotObservable => demandOf(s.days.map((d, i) => ({ kind: d.kind, amount: amounts[i] ?? null })))
  const byWash = rate !== null && !('because' in rate) && washed !== null
  const demand = byWash ? kinds(washed.m3) : kinds(use.perDay)
  const sure = byWash ? rate : { perM3: 1, error: 0, variancePerM3: 0, washDays: 0 }
  const outlook = runOut(stock, demand, { ...sure, error: Math.hypot(sure.error, alikeShare * sure.perM3) }, coming)
  const left = stock.left === null ? null : { value: Math.max(0, stock.left), unit: c.unit }
  const told = outlook.kind === 'forecast' || outlook.kind === 'beyond'
  return {
    id: c.id,
    what: `${c.name} used up`,
    stage,
    kind: 'stock',
    outlook,
    basis: told && !('because' in demand) ? `at ${pace(byWash ? rate : null, demand, c.unit)}, ${use.by}` : null,
    left,
    unlock: outlook.kind === 'not-observable' && stock.left === null ? `A refill of ${inSentence(c.name)} in the site log, with what is now in it` : waiting(outlook),
  }
}

const digits = (v: number): string => (v >= 10 ? v.toFixed(0) : v >= 1 ? v.toFixed(1) : v.toPrecision(2))
const pace = (rate: WashRate | null, demand: Demand, unit: string): string =>
  rate ? `${digits(rate.perM3)} ${unit}/m³ and ${digits(demand.all.mean)} m³ a day` : `${digits(demand.all.mean)} ${unit} a day`

/** Level of the drum: at its pump, or under the name of the consumable. */
const levelSignal = (site: Site, c: Consumable, pump: Equipment | undefined): Signal | null =>
  site.signals.find(
    (x) => x.quantity === 'level' && (x.unit === '%' || x.unit === c.unit) && (x.at === c.id || (pump !== undefined && x.at === pump.id) || x.id.startsWith(`${c.id}.`)),
  ) ?? null

const inUnit = (c: Consumable, level: Signal, v: number): number => (level.unit === '%' ? (v / 100) * c.full : v)

/** null: nothing heard of it for a day; the log then speaks. */
function byLevel(s: StoredLoop, c: Consumable, level: Signal): Stock | null {
  const newest = s.hours.get(level.id)?.findLast((h) => h.last !== null)
  if (!newest || newest.last === null || s.nowMs - newest.fromMs > 86_400_000) return null
  return { left: inUnit(c, level, newest.last), error: Math.hypot(LEVEL_SHARE * c.full, inUnit(c, level, level.resolution) / Math.sqrt(12)) }
}

function fallen(s: StoredLoop, c: Consumable, level: Signal): Use | null {
  const hours = s.hours.get(level.id)
  if (!hours) return null
  const perDay = fallsByDay(hours, s.days, 2 * level.resolution).map((v) => (v === null ? null : inUnit(c, level, v)))
  return { perDay, today: null, by: 'by the fall of its level', share: LEVEL_SHARE }
}

/**
 * The use by the pump, scaled to what its drum lost over the same days; as it is while the drum lost too little to tell. A day ends at the figure
 * the next begins with, so the steps of the level are in doubt at both ends of a row of days and not at each midnight. Days of an empty drum say
 * nothing: the controller lets the pump run on and on, and nothing comes.
 */
function gauged(s: StoredLoop, c: Consumable, level: Signal, pump: Use): Use {
  const empty = emptyDays(s.hours.get(level.id) ?? [], s.days, 2 * level.resolution)
  const use: Use = { ...pump, perDay: pump.perDay.map((v, i) => (empty[i] ? null : v)) }
  const falls = fallsByDay(s.hours.get(level.id) ?? [], s.days, 2 * level.resolution, true)
  let lost = 0
  let given = 0
  let runs = 0
  let before = -2
  falls.forEach((fall, i) => {
    const by = use.perDay[i] ?? null
    if (fall === null || by === null) return
    lost += inUnit(c, level, fall)
    given += by
    if (i !== before + 1) runs += 1
    before = i
  })
  const step = inUnit(c, level, level.resolution)
  if (given <= 0 || lost < 10 * step) return use
  const scale = (v: number | null): number | null => (v === null ? null : (v * lost) / given)
  return { perDay: use.perDay.map(scale), today: scale(use.today), by: `${use.by} and the fall of the level in its drum`, share: (step * Math.sqrt(runs / 6)) / lost }
}

function pumped(s: StoredLoop, pump: Equipment): Use | null {
  const at = (quantity: Signal['quantity']): Signal | undefined => s.site.signals.find((x) => x.at === pump.id && x.quantity === quantity)
  const [meter, run] = [at('hours'), at('run')]
  const lPerH = 60 * (pump.flowLPerMin ?? 0)
  if (lPerH === 0) return null
  if (meter) {
    const all = counted(meter, s.hours.get(meter.id) ?? [], s.log)
    const perH = meter.unit === 'min' ? 60 : meter.unit === 's' ? 3600 : 1
    const litres = (v: number | null): number | null => (v === null ? null : (v / perH) * lPerH)
    const [today] = byDay(all, [{ fromMs: s.days.at(-1)?.toMs ?? s.nowMs, toMs: s.nowMs }])
    return { perDay: byDay(all, s.days).map(litres), today: litres(today ?? null), by: `by the hours of ${inSentence(pump.name)}`, share: STROKE_SHARE }
  }
  const hours = run && s.runHours.get(run.id)
  if (!hours) return null
  return {
    perDay: hours.slice(0, s.days.length).map((h) => (h === null ? null : h * lPerH)),
    today: hours[s.days.length] === null || hours[s.days.length] === undefined ? null : (hours[s.days.length] as number) * lPerH,
    by: `by the run time of ${inSentence(pump.name)}`,
    share: run.sampleEveryMs > SELDOM_MS ? SELDOM_SHARE : STROKE_SHARE,
  }
}

/** What the newest refill put in, less what went since; its own day counts by its share. */
function sinceRefill(s: StoredLoop, c: Consumable, use: Use): Stock {
  const none: Stock = { left: null, error: 0 }
  const refill = standing(s.log, 'refill').findLast((e) => isAbout(e, c) && (e.unit === undefined || e.unit === c.unit))
  const firstMs = s.days[0]?.fromMs ?? s.nowMs
  if (!refill || refill.atMs < firstMs) return none
  return taken(s, use, refill.atMs, refill.value ?? c.full)
}

function taken(s: StoredLoop, use: Use, fromMs: number, full: number): Stock {
  const known = use.perDay.filter((v) => v !== null)
  const mean = known.length === 0 ? 0 : known.reduce((sum, v) => sum + v, 0) / known.length
  let gone = 0
  let guessed = 0
  s.days.forEach((d, i) => {
    if (d.toMs <= fromMs) return
    const share = d.fromMs >= fromMs ? 1 : (d.toMs - fromMs) / (d.toMs - d.fromMs)
    const v = use.perDay[i] ?? null
    gone += share * (v ?? mean)
    // A day without a figure may have taken nothing or twice the mean, and so may the day cut by the refill.
    if (v === null || share < 1) guessed += (share * (v ?? mean)) ** 2
  })
  gone += use.today ?? 0
  return { left: full - gone, error: Math.hypot(use.share * full, Math.sqrt(guessed)) }
}

/** Of acid: an entry about it, about its pump, or naming it. */
function isAbout(e: LogEntry, c: Consumable): boolean {
  if (e.about === c.id) return true
  const item = (e.item ?? '').toLowerCase()
  return item !== '' && (item === c.id || c.name.toLowerCase().includes(item) || (c.unit === 'm' && /paper|roll/.test(item)))
}

const notCounted = (site: Site, pump: Equipment): string =>
  pump.flowLPerMin === null
    ? `what ${inSentence(pump.name)} delivers is not in the site file`
    : site.signals.some((x) => x.at === pump.id && (x.quantity === 'run' || x.quantity === 'hours'))
      ? `too little is known of when ${inSentence(pump.name)} ran`
      : `nothing tells when ${inSentence(pump.name)} runs`

function unlockOf(site: Site, c: Consumable, pump: Equipment | undefined): string {
  if (!pump) return `A level in the ${inSentence(c.name)} drum, or a dosing pump that counts its hours`
  if (pump.flowLPerMin === null) return `flowLPerMin of ${pump.id} in the site file`
  return site.signals.some((x) => x.at === pump.id && (x.quantity === 'run' || x.quantity === 'hours'))
    ? 'Readings of it: none are there'
    : `Run contact of ${inSentence(pump.name)}, or a level in its drum`
}

function paper(s: StoredLoop, c: Consumable, washed: Washed | null, coming: readonly ComingDay[]): Expected {
  const filter = s.site.stages.find((t) => t.kind === 'filter')
  const stage = filter?.id ?? null
  const places = [c.id, ...(filter ? [filter.id] : []), ...s.site.equipment.filter((e) => e.kind === 'filter-drive').map((e) => e.id)]
  const find = (quantity: Signal['quantity']): Signal | undefined => s.site.signals.find((x) => x.at !== null && places.includes(x.at) && x.quantity === quantity)
  const measured = find('paper')
  if (measured) {
    const hours = s.hours.get(measured.id) ?? []
    const newest = hours.findLast((h) => h.last !== null)?.last ?? null
    const use: Use = { perDay: fallsByDay(hours, s.days, 2 * measured.resolution), today: null, by: 'by the paper left on the roll', share: LEVEL_SHARE }
    return line(s, c, stage, { left: newest, error: LEVEL_SHARE * c.full }, use, use.share, washed, coming)
  }
  const pulses = find('pulses')
  if (!pulses) return blind(c, stage, 'advances of the paper are not counted', 'Index pulses of the paper drive, or a signal of the paper left')
  const all = counted(pulses, s.hours.get(pulses.id) ?? [], s.log)
  const rolls = standing(s.log, 'replacement').filter((e) => e.about === c.id || (/paper|roll/i.test(e.item ?? '') && (e.about === undefined || places.includes(e.about))))
  const [before, last] = [rolls.at(-2), rolls.at(-1)]
  const firstMs = s.days[0]?.fromMs ?? s.nowMs
  if (!last || !before || before.atMs < firstMs) {
    const since = last ? 'one roll change stands in the site log' : 'no roll change stands in the site log'
    return blind(c, stage, `how many advances a roll holds is not known: ${since} in ${s.days.length} days and two are needed`, 'Each change of the paper roll in the site log')
  }
  // The roll between the two changes says how many advances one holds, whatever their length.
  const between = (fromMs: number, toMs: number): number => all.reduce((sum, i) => sum + (i.atMs > fromMs && i.atMs <= toMs ? i.by : 0), 0)
  const held = between(before.atMs, last.atMs)
  if (held <= 0) return blind(c, stage, 'no advance was counted between the last two roll changes', 'A look at what counts the advances')
  const perPulse = c.full / held
  const use: Use = {
    perDay: byDay(all, s.days).map((v) => (v === null ? null : v * perPulse)),
    today: null,
    by: 'a roll taken to hold as many advances as the last one',
    share: ROLL_SHARE,
  }
  const gone = between(last.atMs, s.nowMs) * perPulse
  return line(s, c, stage, { left: c.full - gone, error: ROLL_SHARE * c.full }, use, 0, washed, coming)
}
