/**
 * What a loop is: the resolved site, as the rest of the house sees it. A site file (site-file.ts) is the short form a
 * person writes; everything it leaves out has been filled in here from defaults per quantity.
 */
import type { CheckOverride } from '../intake/qartod-override.ts'
import type { ForeignTopic } from './foreign.ts'
import type { Quantity } from './quantity.ts'

/** Stages in the order the water meets them; a train is a subset in this order, with one to many bio tanks. */
export const STAGE_KINDS = ['pad', 'sump', 'filter', 'treatment', 'bio', 'finished', 'washer'] as const
export type StageKind = (typeof STAGE_KINDS)[number]

/** Vertical cylinder, with or without a cone below it. */
export interface TankShape {
  readonly diameterMm: number
  /** Height of the straight part, to the overflow. */
  readonly heightMm: number
  /** Height of the cone under it; 0 for a flat bottom. */
  readonly coneMm: number
}

export interface Stage {
  readonly id: string
  readonly kind: StageKind
  /** "Bio tank 1", "Finished water". */
  readonly name: string
  readonly tank: TankShape | null
  /** Litres to the overflow: given, or computed from the shape; null where the stage holds no water. */
  readonly volumeL: number | null
  /** Whether biomass stays when the water leaves; only tanks with biology. */
  readonly retention: 'carriers' | 'settling' | 'none' | null
  /** Wash pad only. */
  readonly pad: { readonly cover: 'covered' | 'open'; readonly areaM2: number; readonly diverter: 'none' | 'manual' | 'auto' } | null
  /** Paper filter only: length of a full roll, m. */
  readonly rollM: number | null
  /** Pressure washer only: water one lance uses, L/min. */
  readonly lanceLPerMin: number | null
}

export const EQUIPMENT_KINDS = ['pump', 'aerator', 'dosing', 'ozone', 'washer', 'filter-drive'] as const
export type EquipmentKind = (typeof EQUIPMENT_KINDS)[number]

export interface Equipment {
  readonly id: string
  readonly kind: EquipmentKind
  readonly name: string
  /** Stage ids it gives air, chemical or water to. */
  readonly serves: readonly string[]
  readonly nameplateA: number | null
  readonly flowLPerMin: number | null
  /** Dosing pumps: what they dose. */
  readonly doses: 'acid' | 'alum' | 'nutrient' | 'microbes' | 'bicarbonate' | null
  /** Aerators: planned pauses, so that an "off" shorter than this is no fault. */
  readonly longestPlannedOffMs: number
  /** Hours run between services; absent: not in the site file. */
  readonly serviceEveryH?: number
}

export interface Signal {
  /** `bio1.do`, unique in the site. */
  readonly id: string
  readonly name: string
  readonly quantity: Quantity
  /** UCUM. */
  readonly unit: string
  /** Stage or equipment id it belongs to, or null for the panel as a whole. */
  readonly at: string | null
  /** Stage the ring shows it on, or null. */
  readonly stage: string | null
  readonly sampleEveryMs: number
  readonly reportEveryMs: number
  /** What a working sensor can report: outside it is a fault of the sensor, not of the water. */
  readonly range: readonly [number, number]
  readonly resolution: number
  readonly digits: number
  /** What a person changed in its quality tests; null: nothing. */
  readonly checks: CheckOverride | null
  /** Counters: where it starts again at zero and the most it can count in an hour; absent: what is usual. */
  readonly counter?: { readonly rolloverAt?: number | undefined; readonly mostPerH?: number | undefined }
}

/** Minutes of a weekday (0 Sunday to 6 Saturday) during which something holds; `toMin` up to 1440. */
export interface WeekSpan {
  readonly day: number
  readonly fromMin: number
  readonly toMin: number
}

export interface Protection {
  readonly id: string
  readonly what: string
  readonly present: boolean
  /** Local date it was last shown to work, `2026-09-14`; null: never, or not written down. */
  readonly provedOn: string | null
}

export interface Consumable {
  readonly id: string
  readonly name: string
  readonly full: number
  readonly unit: string
}

/** A person's change to one alarm of this site; what is absent keeps its default. */
export interface AlarmOverride {
  readonly off?: boolean
  /** A rule of its own as written (alarms/rule-schema.ts), and what it is called. */
  readonly rule?: Readonly<Record<string, unknown>>
  readonly what?: string
  readonly limit?: number
  readonly deadband?: number
  readonly onDelayMs?: number
  readonly offDelayMs?: number
  readonly priority?: 'high' | 'medium' | 'low' | 'alert'
  readonly cause?: string
  readonly consequence?: string
  readonly action?: readonly string[]
  readonly respondWithinMin?: number
  readonly owner?: string
  /** Local date, `2026-09-14`. */
  readonly reviewedOn?: string
  /** Why this site differs; required by the file format. */
  readonly why: string
}

/** Stages in the life of a loop, from first water to the end of its contract. */
export const LIFE_STATES = ['in-service', 'commissioning', 'resting', 'out-of-contract'] as const
export type LifeState = (typeof LIFE_STATES)[number]

/** State of a loop before anybody has said otherwise. */
export interface FirstState {
  readonly state: LifeState
  /** null: until somebody says otherwise. */
  readonly untilMs: number | null
  readonly why: string | null
}

export interface AlarmReview {
  /** A role such as "operations", or a name. */
  readonly owner: string | null
  /** Local date of the last review, `2026-09-14`; null: never. */
  readonly reviewedOn: string | null
  readonly everyMonths: number
}

/** How soon somebody can act at the loop, for the wake rule. */
export interface Reach {
  /** Minutes by road from whoever is on call to the plant. */
  readonly driveMin: number
  /** Minutes until somebody at the yard has acted on a call, while it is staffed. */
  readonly yardMin: number
  /** When the company's desk is staffed, on the wall clock of the site. */
  readonly desk: readonly WeekSpan[]
  /** Of these the site file says nothing, so what is usual was taken. */
  readonly assumed: readonly ('drive' | 'yard' | 'desk')[]
}

export interface Site {
  readonly id: string
  readonly name: string
  /** Heading it stands under in the fleet. */
  readonly area: string
  readonly customer: string | null
  /** IANA zone of its wall clock. */
  readonly zone: string
  readonly latitude: number | null
  readonly longitude: number | null
  /** null: not written down; at sea level for figures that need one. */
  readonly altitudeM: number | null
  /** When the yard washes; empty: unknown, taken as any time. */
  readonly open: readonly WeekSpan[]
  /** When somebody is at the yard who can be sent to look. */
  readonly staffed: readonly WeekSpan[]
  readonly yardPhone: string | null
  /** Of whoever looks after the loop; left out: not written down. */
  readonly carePhone?: string
  readonly reach: Reach
  readonly access: string | null
  readonly instrumentation: 'poor' | 'normal' | 'rich'
  readonly stages: readonly Stage[]
  readonly equipment: readonly Equipment[]
  readonly signals: readonly Signal[]
  readonly protections: readonly Protection[]
  readonly consumables: readonly Consumable[]
  readonly alarmOverrides: Readonly<Record<string, AlarmOverride>>
  /** Who answers for the alarms of this site and when they were gone through; absent: not in the site file. */
  readonly alarmReview?: AlarmReview
  /** Monthly data plan, MB; null: not known. */
  readonly dataPlanMb: number | null
  readonly clock: SiteClock
  /** Topics of controllers that do not speak our form. */
  readonly foreign: readonly ForeignTopic[]
  /** Absent: in service. */
  readonly firstState?: FirstState
}

/** The clock of a site's controllers. */
export interface SiteClock {
  /** What a time without a zone means: refused, the wall clock of the yard with its summer time, or minutes east of UTC all year. */
  readonly naive: 'refused' | 'wall' | number
  /** A person's correction for a clock that is wrong and cannot be set, added to every time sent, ms. */
  readonly correctMs: number
  /** How far back the controller's own store reaches, where somebody vouches for more than the usual week, ms; null: nobody does. */
  readonly backlogMs: number | null
}

/** How often a site normally reports: the shortest `reportEvery` of its signals, ms. A site without signals: one minute. */
export function reportEveryMs(site: Site): number {
  return site.signals.length === 0 ? 60_000 : Math.min(...site.signals.map((s) => s.reportEveryMs))
}

/** A site is silent after three of its reports and 10 s without a message. Common practice, no source. */
export const silentAfterMs = (site: Site): number => 3 * reportEveryMs(site) + 10_000

/** True when the wall clock of `zone` at `atMs` lies in one of `spans`; with no spans at all the answer is `whenUnknown`. */
export function within(spans: readonly WeekSpan[], zone: string, atMs: number, whenUnknown: boolean): boolean {
  if (spans.length === 0) return whenUnknown
  const { day, minute } = wallMinute(zone, atMs)
  return spans.some((s) => s.day === day && minute >= s.fromMin && minute < s.toMin)
}

const DAYS: Readonly<Record<string, number>> = { Sun: 0, Mon: 1, Tue: 2, Wed: 3, Thu: 4, Fri: 5, Sat: 6 }
const clocks = new Map<string, Intl.DateTimeFormat>()

/** Weekday and minute of the day on the wall clock of `zone`. */
export function wallMinute(zone: string, atMs: number): { day: number; minute: number } {
  let f = clocks.get(zone)
  if (!f) {
    f = new Intl.DateTimeFormat('en-GB', { timeZone: zone, weekday: 'short', hour: '2-digit', minute: '2-digit', hourCycle: 'h23' })
    clocks.set(zone, f)
  }
  let day = 0
  let hour = 0
  let minute = 0
  for (const p of f.formatToParts(atMs)) {
    if (p.type === 'weekday') day = DAYS[p.value] ?? 0
    else if (p.type === 'hour') hour = Number(p.value)
    else if (p.type === 'minute') minute = Number(p.value)
  }
  return { day, minute: hour * 60 + minute }
}
