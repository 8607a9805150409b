/**
 * The one door between server and page: the shape of every API body and every socket message. Plain data only; times are
 * ms since 1970 UTC, units are UCUM codes with their display text beside them.
 */
import { z } from 'zod'
import { loopStateBody } from './wire-loop-state.ts'
import { floodsBody, overlayFields } from './wire-set-aside.ts'

export * from './wire-loop-state.ts'
export * from './wire-set-aside.ts'

export * from './wire-call.ts'
export * from './wire-changes.ts'

export * from './wire-due.ts'
export * from './wire-rules.ts'
export * from './wire-setup.ts'
export * from './wire-yard.ts'

const ms = z.number().int()
const quality = z.enum(['good', 'uncertain', 'bad'])
const priority = z.enum(['high', 'medium', 'low', 'alert'])

/** Where the live socket is opened. */
export const LIVE_PATH = '/api/live'
/** Close codes of the live socket beyond the usual ones: signed out (sign in again), read too slowly (come back at once). */
export const CLOSED_SIGNED_OUT = 4001
export const CLOSED_TOO_SLOW = 4008

export const faultBody = z.object({ code: z.string(), message: z.string() })

/** What can hurt. The last of a list is the closing rule, id `closing`. */
export const cautionBody = z.object({ id: z.string(), title: z.string(), text: z.string(), figures: z.string(), source: z.string().optional() })

/** GET /api/me: who is signed in here, and until when; a token has no end. */
export const personBody = z.object({ name: z.string(), via: z.enum(['session', 'token']), untilMs: ms.nullable() })

export const alarmBody = z.object({
  id: z.string(),
  site: z.string(),
  siteName: z.string(),
  /** The site's wall clock, for `raisedMs` and the like. */
  zone: z.string(),
  stage: z.string().nullable(),
  stageName: z.string().nullable(),
  /** Signal the rule watches, when it is one. */
  signal: z.string().nullable(),
  priority,
  state: z.enum(['normal', 'unacknowledged', 'acknowledged', 'returned', 'latched-unacknowledged', 'latched-acknowledged']),
  ...overlayFields,
  occurrence: z.string().nullable(),
  version: z.number().int(),
  what: z.string(),
  /** Value at the raise, and now. */
  value: z.number().nullable(),
  valueNow: z.number().nullable(),
  limit: z.number().nullable(),
  /** Value and limit are a change or a distance, not a place on the scale. */
  difference: z.literal(true).optional(),
  /** Display text of the unit, and digits shown after the point. */
  unit: z.string(),
  digits: z.number().int(),
  raisedMs: ms.nullable(),
  clearedMs: ms.nullable(),
  heldSinceMs: ms.nullable(),
  acknowledgedBy: z.string().nullable(),
  acknowledgedMs: ms.nullable(),
  note: z.string().nullable(),
  /** What was said at the raise: which machine, who. */
  raisedNote: z.string().nullable(),
  count: z.number().int(),
  cause: z.string(),
  consequence: z.string(),
  action: z.array(z.string()),
  confirm: z.string(),
  respondWithinMin: z.number(),
  /** Longest time from the fact to the alarm, ms: the report just missed, the delay, the link; null: it depends on use, not on time. */
  detectMs: z.number().nullable().optional(),
  basis: z.string(),
  cautions: z.array(cautionBody),
})

export const stageBody = z.object({
  id: z.string(),
  kind: z.enum(['pad', 'sump', 'filter', 'treatment', 'bio', 'finished', 'washer']),
  name: z.string(),
  volumeL: z.number().nullable(),
})

/** One loop as the fleet page needs it. */
export const loopBody = z.object({
  id: z.string(),
  name: z.string(),
  area: z.string(),
  zone: z.string(),
  instrumentation: z.enum(['poor', 'normal', 'rich']),
  stages: z.array(stageBody),
  heardMs: ms.nullable(),
  silent: z.boolean(),
  /** Longest normal silence of the site, ms. */
  reportEveryMs: ms,
  /** Finished-water and sump level, percent; null: not measured, stale or bad. */
  waterPct: z.number().nullable(),
  sumpPct: z.number().nullable(),
  /** Minutes of washing left; null: cannot be told. */
  waterMin: z.number().nullable(),
  /** Stages that stand on readings we doubt. */
  doubtful: z.array(z.string()),
  /** Standing alarms, worst first. */
  alarms: z.array(alarmBody),
  state: loopStateBody,
})

export const signalBody = z.object({
  id: z.string(),
  name: z.string(),
  quantity: z.string(),
  kind: z.enum(['analogue', 'state', 'counter']),
  unit: z.string(),
  unitText: z.string(),
  unitSpoken: z.string(),
  stage: z.string().nullable(),
  at: z.string().nullable(),
  digits: z.number().int(),
  range: z.tuple([z.number(), z.number()]),
  /** State signals: words for 0 and 1. */
  states: z.tuple([z.string(), z.string()]).nullable(),
  sampleEveryMs: ms,
  reportEveryMs: ms,
  limits: z.array(z.object({ name: z.enum(['LL', 'L', 'H', 'HH']), value: z.number(), alarm: z.string() })),
  value: z.number().nullable(),
  quality: quality.nullable(),
  sub: z.string().nullable(),
  sourceMs: ms.nullable(),
  receivedMs: ms.nullable(),
})

export const entryBody = z.object({
  id: z.number().int(),
  site: z.string(),
  kind: z.string(),
  atMs: ms,
  about: z.string().optional(),
  item: z.string().optional(),
  value: z.number().optional(),
  asFound: z.number().optional(),
  unit: z.string().optional(),
  below: z.boolean().optional(),
  text: z.string().optional(),
  corrects: z.number().int().optional(),
  by: z.string(),
  recordedMs: ms,
})

/** A computed signal: what it says now with its interval, or why it is withheld and what would unlock it, and how it was computed. */
export const vitalBody = z.object({
  id: z.string(),
  name: z.string(),
  unit: z.string(),
  unitText: z.string(),
  unitSpoken: z.string(),
  digits: z.number().int(),
  stage: z.string().nullable(),
  /** null: withheld. */
  value: z.number().nullable(),
  quality: quality.nullable(),
  sub: z.string().nullable(),
  /** Eight times in ten the truth lies within; `high` null: nothing bounds it. */
  interval: z.object({ low: z.number(), high: z.number().nullable() }).nullable(),
  bound: z.enum(['at-least', 'at-most', 'below']).nullable(),
  /** Time the figure, or the reason, speaks of. */
  atMs: ms.nullable(),
  why: z.string().nullable(),
  unlock: z.string().nullable(),
  /** Not to be told on this loop, whatever it sends. */
  unobservable: z.boolean(),
  formula: z.string(),
  source: z.string(),
  window: z.string(),
  signals: z.array(z.string()),
  inputs: z.array(z.object({ from: z.string(), what: z.string(), value: z.number().nullable(), unitText: z.string(), atMs: ms.nullable(), quality: quality.nullable() })),
  notes: z.array(z.string()),
})

export const loopDetailBody = loopBody.extend({
  latitude: z.number().nullable(),
  longitude: z.number().nullable(),
  altitudeM: z.number().nullable(),
  customer: z.string().nullable(),
  openNow: z.boolean(),
  yardPhone: z.string().nullable(),
  access: z.string().nullable(),
  signals: z.array(signalBody),
  equipment: z.array(z.object({ id: z.string(), kind: z.string(), name: z.string(), serves: z.array(z.string()), run: z.string().nullable(), current: z.string().nullable() })),
  protections: z.array(z.object({ id: z.string(), what: z.string(), present: z.boolean(), provedOn: z.string().nullable() })),
  consumables: z.array(z.object({ id: z.string(), name: z.string(), full: z.number(), unit: z.string() })),
  /** What this loop cannot tell, and the signal that would unlock it. */
  notObserved: z.array(z.object({ what: z.string(), seen: z.enum(['no', 'partly']), unlock: z.string() })),
  /** Computed signals in the order of the train, those this loop cannot tell too. */
  vitals: z.array(vitalBody),
  hazards: z.array(cautionBody),
  log: z.array(entryBody),
})

export const loopsBody = z.object({ nowMs: ms, loops: z.array(loopBody) })
export const alarmsBody = z.object({ nowMs: ms, alarms: z.array(alarmBody) })
/** GET /api/set-aside: alarms nobody is told of, and what is too much at once. */
export const setAsideBody = z.object({ nowMs: ms, alarms: z.array(alarmBody), floods: floodsBody })
export const logBody = z.object({ entries: z.array(entryBody) })

/** A trend, column by column; a span with `count` 0 is a gap and its figures are null. */
export const historyBody = z.object({
  site: z.string(),
  signal: z.string(),
  unit: z.string(),
  unitText: z.string(),
  fromMs: ms,
  toMs: ms,
  bucketMs: z.number(),
  at: z.array(ms),
  count: z.array(z.number().int()),
  bad: z.array(z.number().int()),
  min: z.array(z.number().nullable()),
  max: z.array(z.number().nullable()),
  mean: z.array(z.number().nullable()),
  first: z.array(z.number().nullable()),
  last: z.array(z.number().nullable()),
  worst: z.array(quality.nullable()),
  /** First and last reading held at all, to say where the nearest one is. */
  extent: z.object({ firstMs: ms, lastMs: ms }).nullable(),
})

/** Did a signal drift over a span, how fast, and did its level step? Each told with its interval of 95 %, or why not. */
export const courseBody = z.object({
  site: z.string(),
  signal: z.string(),
  unit: z.string(),
  unitText: z.string(),
  fromMs: ms,
  toMs: ms,
  /** Medians of such steps stand for the readings. */
  stepMs: z.number(),
  /** Steps with a figure, of all. */
  points: z.number().int(),
  steps: z.number().int(),
  /** Chance that each interval holds the true one. */
  level: z.number(),
  /** null: line and step below are told, as far as there are any. */
  why: z.string().nullable(),
  line: z
    .object({
      says: z.enum(['rising', 'falling', 'none told']),
      /** Slope, unit of the signal per day. */
      perDay: z.object({ low: z.number(), best: z.number(), high: z.number() }),
      /** The line and both edges of its interval turn about this place. */
      atMs: ms,
      value: z.number(),
      /** The course is not one straight line. */
      bent: z.boolean(),
    })
    .nullable(),
  step: z
    .object({
      /** Between these two the level changed; the true change lies from `earliestMs` to `latestMs`, null: perhaps beyond the span. */
      lastBeforeMs: ms,
      firstAfterMs: ms,
      earliestMs: ms.nullable(),
      latestMs: ms.nullable(),
      before: z.number(),
      after: z.number(),
    })
    .nullable(),
  /** Why there is no step. */
  stepWhy: z.string().nullable(),
})

/** How far a counter moved in equal spans, or the hours of a run bit. */
export const countsBody = z.object({
  site: z.string(),
  signal: z.string(),
  unit: z.string(),
  unitText: z.string(),
  fromMs: ms,
  toMs: ms,
  bucketMs: z.number(),
  at: z.array(ms),
  /** null: no reading ends in the span. What lies across a gap is counted where the gap ends. */
  by: z.array(z.number().nullable()),
  total: z.number(),
  /** Something was lost in a reset, a replacement or a gap: the true total is this or more. */
  atLeast: z.boolean(),
  rollovers: z.number().int(),
  resets: z.number().int(),
  replacements: z.number().int(),
  /** Rises too fast to be true, left out. */
  steps: z.array(z.object({ atMs: ms, by: z.number() })),
  /** Of a run bit; null: of a counter. */
  starts: z.number().int().nullable(),
  unknownH: z.number().nullable(),
})

/**
 * GET /api/loops/:site/forecasts: what comes next, the soonest first. A median, and an interval that holds the true time in four cases of five.
 * JSON has no infinity: `highMs` null beside a median means that one in ten or more comes not at all in the time looked ahead.
 */
export const forecastsBody = z.object({
  site: z.string(),
  atMs: ms,
  expected: z.array(
    z.object({
      id: z.string(),
      what: z.string(),
      stage: z.string().nullable(),
      kind: z.enum(['limit', 'stock', 'service']),
      /** told: a median. reached: it is so now. beyond: more likely than not, not before `untilMs`. withheld: see `why`. */
      says: z.enum(['told', 'reached', 'beyond', 'withheld']),
      lowMs: ms.nullable(),
      medianMs: ms.nullable(),
      /** null beside a median: no end within the time looked ahead. */
      highMs: ms.nullable(),
      untilMs: ms.nullable(),
      /** Readings or days it rests on. */
      from: z.number().int().nullable(),
      basis: z.string().nullable(),
      left: z.object({ value: z.number(), unit: z.string() }).nullable(),
      why: z.string().nullable(),
      unlock: z.string().nullable(),
    }),
  ),
})

/** GET /api/loops/:site/normal: what is normal for signals and vitals of this loop; two numbers, of which the rolling one never overwrites the first. */
export const normalBody = z.object({
  site: z.string(),
  atMs: ms,
  /** Why nothing is learned just now; null: it is. */
  paused: z.string().nullable(),
  signals: z.array(
    z.object({
      id: z.string(),
      /** null: no band yet, see `why`. */
      band: z.object({ low: z.number(), middle: z.number(), high: z.number(), hours: z.number().int(), days: z.number().int(), notCompared: z.array(z.string()) }).nullable(),
      why: z.string().nullable(),
      /** Days that may be learned from so far, and how many a band needs. */
      days: z.number().int(),
      needed: z.number().int(),
      /** Frozen: middle of the first days that could be learned from, how far its days differ, and when they were over. */
      first: z.object({ value: z.number(), sd: z.number(), atMs: ms }).nullable(),
      /** Of the newest figure, when this was worked out; null: none. */
      against: z
        .object({ offFirst: z.number().nullable(), offBand: z.number().nullable(), band: z.enum(['below', 'inside', 'above', 'no band']), crept: z.boolean().nullable() })
        .nullable(),
    }),
  ),
})

const machineSpan = z.object({ hours: z.number().nullable(), starts: z.number().nullable(), atLeast: z.boolean() })

/** GET /api/machines/:site: hours and starts of machines that have a meter or a run bit. */
export const machinesBody = z.object({
  nowMs: ms,
  machines: z.array(
    z.object({
      id: z.string(),
      name: z.string(),
      /** What the hours come from. */
      by: z.enum(['meter', 'run']).nullable(),
      day: machineSpan,
      week: machineSpan,
      /** Newest figure of its hour meter, as sent. */
      meter: z.number().nullable(),
      resets: z.number().int(),
      replacements: z.number().int(),
      rollovers: z.number().int(),
    }),
  ),
})

export const journalBody = z.object({
  events: z.array(
    z.object({
      /** Number in the journal. */
      seq: z.number().int(),
      alarm: z.string(),
      occurrence: z.string(),
      kind: z.string(),
      atMs: ms,
      recordedMs: ms,
      state: z.string(),
      value: z.number().nullable(),
      limit: z.number().nullable(),
      unit: z.string(),
      /** Digits after the point; null: on or off, there is no figure to show. */
      digits: z.number().int().nullable(),
      by: z.string().nullable(),
      note: z.string().nullable(),
      what: z.string(),
      priority,
    }),
  ),
  /** There are older ones: ask again with `before`, the number of the last. */
  more: z.boolean(),
  /** Every kind of event there is, with the words it is shown by. */
  kinds: z.array(z.object({ id: z.string(), word: z.string() })),
})

export const healthBody = z.object({
  startedMs: ms,
  nowMs: ms,
  version: z.string(),
  troubles: z.array(z.string()),
  counters: z.array(z.object({ name: z.string(), value: z.number(), what: z.string(), bound: z.number().optional() })),
  rejected: z.record(z.string(), z.number()),
  rejects: z.array(z.object({ code: z.string(), topic: z.string(), bytes: z.number(), atMs: ms, detail: z.string() })),
  siteFaults: z.array(z.object({ file: z.string(), line: z.number(), field: z.string(), message: z.string() })),
  brokers: z.array(z.object({ name: z.string(), state: z.string(), detail: z.string() })),
  /** Past of the simulated fleet that is loaded in the background since this start; null or left out: none. */
  fill: z.object({ pct: z.number(), fromMs: ms, toMs: ms, done: z.boolean() }).nullable().optional(),
})

/** Refused messages by kind; what they held is not kept. */
export const quarantineBody = z.object({
  entries: z.array(
    z.object({
      code: z.string(),
      /** The reason in plain words, and what to do. */
      means: z.string(),
      todo: z.string(),
      pattern: z.string(),
      topic: z.string(),
      detail: z.string(),
      bytes: z.number(),
      count: z.number(),
      firstMs: ms,
      lastMs: ms,
    }),
  ),
  /** How often each code was given since start. */
  totals: z.record(z.string(), z.number()),
})

/** Where in a message outside our own form a figure stands. */
const foreignPlace = z.strictObject({
  topic: z.string().max(200),
  path: z.string().max(200),
  when: z.strictObject({ path: z.string().max(200), is: z.union([z.string().max(100), z.number(), z.boolean()]) }).nullable(),
})

const unitChoice = z.object({ code: z.string(), text: z.string() })

/** Signals that arrive and are in no site file. */
export const unassignedBody = z.object({
  signals: z.array(
    z.object({
      site: z.string(),
      siteName: z.string(),
      /** With `from` only a proposal. */
      signal: z.string(),
      from: foreignPlace.nullable(),
      count: z.number(),
      firstMs: ms,
      lastMs: ms,
      lastValue: z.number().nullable(),
      perMin: z.number().nullable(),
      /** What it may be; a help for the person who adopts it. */
      guess: z.object({ quantity: z.string(), unit: z.string(), because: z.string() }).nullable(),
    }),
  ),
  /** Everything a signal can be, for the person who chooses. `units` can be that of a signal, the first where nothing is said; `sentUnits` can be converted to the first. */
  quantities: z.array(z.object({ id: z.string(), word: z.string(), units: z.array(unitChoice), sentUnits: z.array(unitChoice) })),
  /** Stages and machines it can belong to, by site. */
  places: z.record(z.string(), z.array(z.object({ id: z.string(), name: z.string() }))),
})

/** POST /api/unassigned/adopt: take a signal into the file of its site. */
export const adoptRequest = z.strictObject({
  site: z.string().min(1, 'the id of a loop').max(64),
  signal: z.string().min(1, 'an id such as "bio1.do"').max(170, 'at most 170 characters'),
  quantity: z.string().min(1, 'what it measures').max(40),
  unit: z.string().min(1, 'a UCUM code').max(40).optional(),
  name: z.string().trim().min(1).max(300).optional(),
  in: z.string().min(1).max(64).optional(),
  from: foreignPlace.optional(),
})

export const adoptedBody = z.object({
  site: z.string(),
  signal: z.string(),
  /** Name of the site file, where the signal stands in it, and what was written there. */
  file: z.string(),
  line: z.number().int(),
  written: z.string(),
})

/** What each site sends, against its data plan, and how wrong its clock is. */
export const trafficBody = z.object({
  sites: z.array(
    z.object({
      site: z.string(),
      siteName: z.string(),
      heardMs: ms.nullable(),
      messages: z.number(),
      bytes: z.number(),
      /** Data plan of the site file, MB a month. */
      planMb: z.number().nullable(),
      month: z
        .object({
          month: z.string(),
          messages: z.number(),
          bytes: z.number(),
          sinceMs: ms,
          usedMb: z.number(),
          monthMb: z.number().nullable(),
          ofPlan: z.number().nullable(),
        })
        .nullable(),
      clockBehindMs: z.number().nullable(),
      clockDriftMsPerDay: z.number().nullable(),
    }),
  ),
})

/** POST /api/alarms/:id/acknowledge and /reset. `version` is the one the person saw; left out, only the occurrence is compared. */
export const acknowledgeRequest = z.strictObject({ occurrence: z.string().min(1).max(300), version: z.number().int().optional(), note: z.string().trim().max(500).optional() })

/** Page to server. `values`: sites whose every reading is wanted. Replaces the former request. */
export const watchMessage = z.strictObject({ t: z.literal('watch'), values: z.array(z.string().max(64)).max(50) })

/** [signal id, value, quality, sub, sourceMs, receivedMs] */
export const valueTuple = z.tuple([z.string(), z.number().nullable(), quality, z.string(), ms, ms])

/** Server to page. */
export const liveMessage = z.discriminatedUnion('t', [
  /** First of all, and again after anything that was missed: the whole fleet. */
  z.object({ t: z.literal('hello'), nowMs: ms, version: z.string(), troubles: z.array(z.string()), loops: z.array(loopBody) }),
  /** At least every 2 s, whatever happens; with what is wrong with the product itself. */
  z.object({ t: z.literal('beat'), nowMs: ms, troubles: z.array(z.string()) }),
  /** Loops that changed since the last one. */
  z.object({ t: z.literal('loops'), nowMs: ms, loops: z.array(loopBody) }),
  z.object({ t: z.literal('values'), nowMs: ms, site: z.string(), values: z.array(valueTuple) }),
  /** One alarm changed; never dropped, never merged. */
  z.object({ t: z.literal('alarm'), nowMs: ms, event: z.string(), alarm: alarmBody }),
  z.object({ t: z.literal('entry'), nowMs: ms, entry: entryBody }),
  /** Alarms of a loop have been defined anew: a change of the page, or its site file. */
  z.object({ t: z.literal('defined'), nowMs: ms, site: z.string() }),
  /** The server goes down on purpose; come back after `afterMs`. */
  z.object({ t: z.literal('away'), afterMs: ms }),
])

export type ForecastsBody = z.infer<typeof forecastsBody>
export type NormalBody = z.infer<typeof normalBody>
export type AlarmBody = z.infer<typeof alarmBody>
export type SetAsideBody = z.infer<typeof setAsideBody>
export type LoopBody = z.infer<typeof loopBody>
export type LoopDetailBody = z.infer<typeof loopDetailBody>
export type SignalBody = z.infer<typeof signalBody>
export type VitalBody = z.infer<typeof vitalBody>
export type StageBody = z.infer<typeof stageBody>
export type CautionBody = z.infer<typeof cautionBody>
export type PersonBody = z.infer<typeof personBody>
export type FaultBody = z.infer<typeof faultBody>
export type EntryBody = z.infer<typeof entryBody>
export type CourseBody = z.infer<typeof courseBody>
export type HistoryBody = z.infer<typeof historyBody>
export type HealthBody = z.infer<typeof healthBody>
export type QuarantineBody = z.infer<typeof quarantineBody>
export type UnassignedBody = z.infer<typeof unassignedBody>
export type AdoptRequest = z.infer<typeof adoptRequest>
export type AdoptedBody = z.infer<typeof adoptedBody>
export type TrafficBody = z.infer<typeof trafficBody>
export type MachinesBody = z.infer<typeof machinesBody>
export type JournalBody = z.infer<typeof journalBody>
export type LiveMessage = z.infer<typeof liveMessage>
export type WatchMessage = z.infer<typeof watchMessage>
export type ValueTuple = z.infer<typeof valueTuple>
