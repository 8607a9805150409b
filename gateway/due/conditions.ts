/**
 * What the readings show that wants a visit and no answer now: air pressure well above its first weeks, salt, paper that advances more than it used
 * to. Shares: common practice, no source; not yet tuned on data.
 */
import type { AlarmView } from '../alarms/alarm.ts'
import { signalsOfRule } from '../alarms/rule-signals.ts'
import type { Normal } from '../outlook/normal.ts'
import type { Reading } from '../site/reading.ts'
import type { Signal, Site } from '../site/site.ts'
import type { Explanation } from '../vitals/vital.ts'
import { dateIn, type DueItem, inSentence } from './item.ts'

/** Over the first weeks: fouled diffusers. */
const AIR_SHARE = 1.3
const PAPER_SHARE = 2
const PLATE_SHARE = 1.15
/** Shorter gaps close by themselves. */
const DEAD_MS = 12 * 3_600_000
/** Over make-up water. */
const SALT_TIMES = 3

export interface Seen {
  readonly site: Site
  readonly nowMs: number
  readonly latest: ReadonlyMap<string, Reading>
  readonly vitals: readonly Explanation[]
  readonly normals: readonly Normal[]
  readonly alarms: readonly AlarmView[]
  /** Nothing comes of the loop at all: that is an alarm, and no instrument of it is dead. */
  readonly silent: boolean
}

export function dueConditions(seen: Seen): readonly DueItem[] {
  const { site } = seen
  return [...site.equipment.filter((e) => e.kind === 'aerator').flatMap((e) => airPressure(seen, e.id)), ...salt(seen), ...paper(seen), ...motors(seen), ...dead(seen)]
}

const valueOf = (seen: Seen, s: Signal): number | null => {
  const r = seen.latest.get(s.id)
  return r && r.quality !== 'bad' && r.value !== null ? r.value : null
}

function airPressure(seen: Seen, machine: string): readonly DueItem[] {
  const { site } = seen
  const s = site.signals.find((x) => x.quantity === 'pressure' && x.at === machine)
  const first = s && seen.normals.find((n) => n.id === s.id)?.first
  const value = s ? valueOf(seen, s) : null
  if (!s || !first || value === null || value <= AIR_SHARE * first.value) return []
  return [
    {
      site: site.id,
      id: `air ${s.id}`,
      kind: 'condition',
      what: 'Clean the diffusers: the air pressure has risen',
      stage: s.stage,
      dueMs: seen.nowMs,
      why: `${inSentence(s.name)} ${value.toFixed(s.digits)} against ${first.value.toFixed(s.digits)} in its first weeks (up to ${dateIn(site, first.atMs)}): ${share(value, first.value)} more.`,
      bring: 'Cleaning acid only where the maker of the diffusers allows it, spare diffusers, lockout.',
      settles: null,
    },
  ]
}

function salt(seen: Seen): readonly DueItem[] {
  const { site } = seen
  const all = site.signals.filter((s) => s.quantity === 'conductivity')
  const fresh = all.find((s) => /make-?_?up|mains|tap/i.test(`${s.id} ${s.name}`))
  const loop = all.find((s) => s !== fresh)
  const [a, b] = [loop ? valueOf(seen, loop) : null, fresh ? valueOf(seen, fresh) : null]
  if (!loop || !fresh || a === null || b === null || b <= 0 || a <= SALT_TIMES * b) return []
  return [
    {
      site: site.id,
      id: `salt ${loop.id}`,
      kind: 'condition',
      what: 'Let water off and fill up: salt has gathered',
      stage: loop.stage,
      dueMs: seen.nowMs,
      why: `Conductivity ${Math.round(a)} against ${Math.round(b)} µS/cm of the make-up water: more than ${SALT_TIMES} times as much. Spots on the vehicles, corrosion.`,
      bring: 'The permit that says where the water may go; conductivity meter.',
      settles: { kind: 'blowdown', item: 'water' },
    },
  ]
}

function paper(seen: Seen): readonly DueItem[] {
  const { site } = seen
  const filter = site.stages.find((s) => s.kind === 'filter')
  const vital = filter && seen.vitals.find((v) => v.def.id === `${filter.id}.per-m3`)
  const first = vital && seen.normals.find((n) => n.id === vital.def.id)?.first
  if (!filter || !vital || vital.outcome.kind !== 'told' || !first || vital.outcome.value <= PAPER_SHARE * first.value) return []
  return [
    {
      site: site.id,
      id: `paper ${filter.id}`,
      kind: 'condition',
      what: 'Look why the paper advances so often',
      stage: filter.id,
      dueMs: seen.nowMs,
      why: `${vital.outcome.value.toFixed(1)} advances for each m³ washed against ${first.value.toFixed(1)} in the first weeks: more or finer dirt, alum carried over, a timer or a float.`,
      bring: 'A spare roll; lockout for the drive.',
      settles: null,
    },
  ]
}

/** Above its plate: not the jam of seconds, which the overload must catch, but the slow one. */
function motors(seen: Seen): readonly DueItem[] {
  const { site } = seen
  return site.equipment.flatMap((e): readonly DueItem[] => {
    const s = e.nameplateA === null ? undefined : site.signals.find((x) => x.quantity === 'current' && x.at === e.id)
    const value = s ? valueOf(seen, s) : null
    if (!s || e.nameplateA === null || value === null || value <= PLATE_SHARE * e.nameplateA) return []
    return [
      {
        site: site.id,
        id: `motor ${s.id}`,
        kind: 'condition',
        what: `Look why ${inSentence(e.name)} draws more than its plate`,
        stage: s.stage,
        dueMs: seen.nowMs,
        why: `${value.toFixed(s.digits)} A where the plate says ${e.nameplateA} A: bearings, a blocked outlet, fouled diffusers or low voltage. The overload trips next.`,
        bring: 'Clamp meter, bearings; an electrician for the supply; lockout.',
        settles: null,
      },
    ]
  })
}

/** An instrument a low alarm rests on, and that gives nothing usable; where a more urgent one rests on it, being blind is an alarm. */
function dead(seen: Seen): readonly DueItem[] {
  const { site } = seen
  if (seen.silent) return []
  const blind = new Set(seen.alarms.flatMap((a) => (a.def.rule.kind === 'blind' ? [a.def.rule.signal] : [])))
  const used = new Set(seen.alarms.flatMap((a) => (a.def.priority === 'alert' ? [] : signalsOfRule(a.def.rule))))
  return site.signals.flatMap((s): readonly DueItem[] => {
    const r = seen.latest.get(s.id)
    // One that never came is one nobody has connected yet.
    if (!r || blind.has(s.id) || !used.has(s.id)) return []
    const goneMs = Math.max(DEAD_MS, 3 * s.reportEveryMs)
    if (r.quality !== 'bad' && seen.nowMs - r.sourceMs <= goneMs) return []
    return [
      {
        site: site.id,
        id: `dead ${s.id}`,
        kind: 'condition',
        what: `Repair ${inSentence(s.name)}: it gives nothing usable`,
        stage: s.stage,
        dueMs: Math.min(seen.nowMs, r.sourceMs),
        why:
          r.quality === 'bad' ? `Its newest reading, of ${dateIn(site, r.sourceMs)}, is bad.` : `Nothing came of it since ${dateIn(site, r.sourceMs)} although the loop reports.`,
        bring: 'A spare probe or contact, cable, fuse of the input.',
        settles: null,
      },
    ]
  })
}

const share = (a: number, b: number): string => `${Math.round(100 * (a / b - 1))} %`
