/** Everything that is due on a loop, the longest overdue first; work with a date, which calls nobody. */
import type { LogEntry } from '../log/entry.ts'
import type { Expected } from '../outlook/expected.ts'
import { noonOf } from '../outlook/local-date.ts'
import { dueConditions, type Seen } from './conditions.ts'
import { dateIn, type DueItem } from './item.ts'
import { dueKits, dueProbes } from './probes.ts'
import { dueProofs } from './proofs.ts'

export interface LoopFacts extends Seen {
  /** Newest first, corrections among them. */
  readonly log: readonly LogEntry[]
  readonly expected: readonly Expected[]
}

export function dueOf(f: LoopFacts): readonly DueItem[] {
  return [...stocks(f), ...dueConditions(f), ...dueProofs(f.site, f.log), ...dueProbes(f.site, f.log), ...dueKits(f.site, f.log), ...review(f), ...setAside(f)].toSorted(
    dueOrder(f.nowMs),
  )
}

/** Overdue by date, then what nobody knows the last time of, then what comes. */
export function dueOrder(nowMs: number): (a: DueItem, b: DueItem) => number {
  const rank = (d: DueItem): number => (d.dueMs === null ? 1 : d.dueMs <= nowMs ? 0 : 2)
  return (a, b) => rank(a) - rank(b) || (a.dueMs ?? 0) - (b.dueMs ?? 0) || (a.site < b.site ? -1 : a.site > b.site ? 1 : a.id < b.id ? -1 : 1)
}

/** Drums, the roll and hours of machines: the early end of the forecast is the date to plan for. */
function stocks({ site, nowMs, expected }: LoopFacts): readonly DueItem[] {
  return expected.flatMap((e): readonly DueItem[] => {
    if (e.kind === 'limit') return []
    const o = e.outlook
    if (o.kind !== 'forecast' && o.kind !== 'reached') return []
    const left = e.left === null ? '' : `${e.left.value < 10 ? e.left.value.toFixed(1) : Math.round(e.left.value)} ${e.left.unit} left`
    const paper = e.kind === 'stock' && site.consumables.find((c) => c.id === e.id)?.unit === 'm'
    return [
      {
        site: site.id,
        id: `${e.kind} ${e.id}`,
        kind: e.kind === 'stock' ? 'stock' : 'service',
        what: e.kind === 'stock' ? (paper ? 'Change the paper roll' : `Refill: ${e.what.replace(/ used up$/, '')}`) : e.what,
        stage: e.stage,
        dueMs: o.kind === 'reached' ? nowMs : o.lowMs,
        why: [left, e.basis, o.kind === 'forecast' ? `most likely ${dateIn(site, o.medianMs)}` : ''].filter((x) => x !== '' && x !== null).join(', '),
        bring:
          e.kind === 'service'
            ? 'Parts and oil of this service by the manual; lockout.'
            : paper
              ? 'A full roll; lockout for the drive.'
              : 'Product, goggles, face shield, gloves; eyewash in reach.',
        settles: e.kind === 'stock' && !paper ? { kind: 'refill', about: e.id } : { kind: 'replacement', about: e.id, ...(paper && { item: 'paper roll' }) },
      },
    ]
  })
}

/** The set of alarms of a loop is gone through as one; alarms a site file gave a date of their own count with the oldest. */
function review({ site, alarms }: LoopFacts): readonly DueItem[] {
  if (alarms.length === 0) return []
  const dates = alarms.map((a) => a.def.reviewBy)
  const never = dates.filter((d) => d === null).length
  const next = dates.filter((d) => d !== null).toSorted()[0] ?? null
  return [
    {
      site: site.id,
      id: 'review alarms',
      kind: 'review',
      what: `Go through the ${alarms.length} alarm rules of this loop`,
      stage: null,
      dueMs: never > 0 || next === null ? null : noonOf(next, site.zone),
      why:
        never > 0
          ? `${never === alarms.length ? 'They are defaults that nobody has gone through for this site' : `${never} of them were never gone through`}: limits, actions, who is called. Then write alarmReview into the site file.`
          : 'Next review by the site file.',
      bring: '',
      settles: null,
    },
  ]
}

/** Out of service with a date at which somebody must look at it again; the list puts it on the visit before, the health page nags after. */
function setAside({ site, alarms }: LoopFacts): readonly DueItem[] {
  return alarms.flatMap(({ def, outOfService }): readonly DueItem[] => {
    if (!outOfService) return []
    const { by, reason, measure, atMs, reviewMs } = outOfService
    return [
      {
        site: site.id,
        id: `out-of-service ${def.id.slice(site.id.length + 1)}`,
        kind: 'review',
        what: `Back into service, or a new date: alarm "${def.what}"`,
        stage: def.stage,
        dueMs: reviewMs,
        why: `Out of service since ${dateIn(site, atMs)}, by ${by}: ${full(reason)} Meanwhile: ${full(measure)}`,
        bring: '',
        settles: null,
      },
    ]
  })
}

/** What a person wrote, as a sentence. */
const full = (text: string): string => (/[.!?]$/.test(text) ? text : `${text}.`)
