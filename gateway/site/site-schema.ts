/** The shape of a site file as a person writes it (YAML). Every object is strict: a misspelled field is an error, not a silent default. */
import { z } from 'zod'
import { checkOverrideSchema } from '../intake/qartod-override.ts'
import { durationMs } from './duration.ts'
import { QUANTITY_NAMES, type Quantity } from './quantity.ts'
import { EQUIPMENT_KINDS, LIFE_STATES, STAGE_KINDS } from './site.ts'
import { UNITS } from './units.ts'

const id = z.string().regex(/^[a-z0-9][a-z0-9_-]{0,62}$/, 'lower-case letters, digits, - and _, at most 63 of them, such as "kestrow-berth-3"')
const signalId = z.string().regex(/^[a-z0-9][a-z0-9_-]{0,40}(\.[a-z0-9][a-z0-9_-]{0,40}){0,3}$/, 'lower-case parts joined by dots, such as "bio1.do"')
const text = z.string().trim().min(1, 'some text').max(300, 'at most 300 characters')
const LENGTH_OF_TIME = 'a length of time with its unit, such as "10s", "5min", "2h"'
const duration = z.string(LENGTH_OF_TIME).transform((v, ctx) => {
  const ms = durationMs(v)
  if (ms === null) {
    ctx.addIssue({ code: 'custom', message: LENGTH_OF_TIME })
    return z.NEVER
  }
  return ms
})
const mm = z.number().positive().max(50_000, 'millimetres, at most 50000')
const zone = z.string().refine(isZone, 'an IANA time zone, such as "Europe/Lisbon"')
const hours = z.record(z.string(), z.string()).or(z.literal('always'))

function isZone(v: string): boolean {
  try {
    return new Intl.DateTimeFormat('en', { timeZone: v }).resolvedOptions().timeZone.length > 0
  } catch {
    return false
  }
}

export const stageSchema = z.strictObject({
  stage: z.enum(STAGE_KINDS),
  id: id.optional(),
  name: text.optional(),
  diameterMm: mm.optional(),
  heightMm: mm.optional(),
  coneMm: z.number().min(0).max(20_000).optional(),
  volumeL: z.number().positive().max(10_000_000, 'litres').optional(),
  retention: z.enum(['carriers', 'settling', 'none']).optional(),
  cover: z.enum(['covered', 'open']).optional(),
  areaM2: z.number().positive().max(100_000).optional(),
  diverter: z.enum(['none', 'manual', 'auto']).optional(),
  rollM: z.number().positive().max(2000).optional(),
  lanceLPerMin: z.number().positive().max(500).optional(),
})

export const equipmentSchema = z.strictObject({
  kind: z.enum(EQUIPMENT_KINDS),
  name: text.optional(),
  serves: z.array(id).optional(),
  nameplateA: z.number().positive().max(1000).optional(),
  flowLPerMin: z.number().positive().max(10_000).optional(),
  doses: z.enum(['acid', 'alum', 'nutrient', 'microbes', 'bicarbonate']).optional(),
  longestPlannedOff: duration.optional(),
  serviceEveryH: z.number().positive().max(100_000).optional(),
})

export const signalSchema = z.strictObject({
  quantity: z.enum(QUANTITY_NAMES as [Quantity, ...Quantity[]]).optional(),
  name: text.optional(),
  unit: z
    .string()
    .refine((u) => Object.hasOwn(UNITS, u), `a UCUM code we know: ${Object.keys(UNITS).join(' ')}`)
    .optional(),
  in: id.optional(),
  sampleEvery: duration.optional(),
  reportEvery: duration.optional(),
  range: z
    .tuple([z.number(), z.number()])
    .refine(([a, b]) => a < b, 'two numbers, the lower first')
    .optional(),
  resolution: z.number().positive().optional(),
  digits: z.number().int().min(0).max(6).optional(),
  checks: checkOverrideSchema.optional(),
  counter: z.strictObject({ rolloverAt: z.number().positive().optional(), mostPerH: z.number().positive().optional() }).optional(),
})

export const alarmSchema = z.strictObject({
  off: z.boolean().optional(),
  limit: z.number().optional(),
  deadband: z.number().min(0).optional(),
  onDelay: duration.optional(),
  offDelay: duration.optional(),
  priority: z.enum(['high', 'medium', 'low', 'alert']).optional(),
  cause: text.optional(),
  consequence: text.optional(),
  action: z.array(text).min(1).max(8).optional(),
  respondWithin: duration.optional(),
  /** A rule of its own; what it may hold is checked where rules are made. */
  rule: z.record(z.string(), z.unknown()).optional(),
  what: text.optional(),
  owner: text.optional(),
  reviewedOn: z.iso.date().optional(),
  why: text,
})

/** `header.ts`, `ch.0.val`, `/header.ts`: names and places joined by dots; a slash in front: from the payload as a whole. */
const path = z.string().max(200, 'at most 200 characters')
const plain = z.union([z.string().max(100), z.number(), z.boolean()])
/** The own broker and several others have limits on topics; ten levels are plenty. */
const topic = z
  .string()
  .max(200, 'at most 200 characters')
  .regex(/^[^/+#$\s][^+#\s]*$/, 'a topic as the controller publishes it, without + # or spaces, such as "plant/unit7/data"')
  .refine((t) => t.split('/').length <= 10, 'at most ten levels')

export const foreignSignalSchema = z.strictObject({
  path: path.optional(),
  when: z.strictObject({ path, is: plain }).optional(),
  unit: z.string().optional(),
  unitPath: path.optional(),
  scale: z
    .number()
    .refine((n) => n !== 0, 'any number but 0')
    .optional(),
  offset: z.number().optional(),
  bit: z.number().int().min(0).max(31, 'a bit from 0 to 31').optional(),
  words: z.record(z.string().max(60), z.number()).optional(),
  missing: z.array(z.number()).max(10).optional(),
})

export const foreignTopicSchema = z.strictObject({
  topic,
  rows: path.optional(),
  time: z.strictObject({ path, in: z.enum(['ms', 's']).optional() }).optional(),
  quality: z.strictObject({ path, good: z.array(plain).min(1).max(20), uncertain: z.array(plain).max(20).optional() }).optional(),
  signals: z.record(signalId, foreignSignalSchema.nullable()).refine((r) => Object.keys(r).length > 0, 'at least one signal'),
})

const clockSchema = z.strictObject({
  /** What a time without a zone means. */
  zone: z
    .literal(['local', 'utc', 'none'])
    .or(z.string().regex(/^[+-](0\d|1[0-4]):[0-5]\d$/, 'local, utc, none, or a fixed offset such as "+01:00"'))
    .optional(),
  ahead: duration.optional(),
  behind: duration.optional(),
  /** How far back the controller's own store reaches, where that is more than the usual week. */
  backlog: duration.optional(),
})

export const siteFileSchema = z.strictObject({
  id,
  name: text,
  area: text.optional(),
  customer: text.optional(),
  zone,
  position: z.tuple([z.number().min(-90).max(90), z.number().min(-180).max(180)]).optional(),
  altitudeM: z.number().min(-450).max(5000).optional(),
  open: hours.optional(),
  staffed: hours.optional(),
  yardPhone: text.optional(),
  /** Of whoever looks after the loop, for the people of the yard. */
  carePhone: text.optional(),
  /** For the wake rule: by road from whoever is on call; until the yard has acted on a call; when the company's desk is staffed. */
  reach: z.strictObject({ drive: duration.optional(), yard: duration.optional(), desk: hours.optional() }).optional(),
  access: text.optional(),
  instrumentation: z.enum(['poor', 'normal', 'rich']).optional(),
  sampleEvery: duration.optional(),
  reportEvery: duration.optional(),
  dataPlanMb: z.number().positive().optional(),
  clock: clockSchema.optional(),
  foreign: z.array(foreignTopicSchema).max(200, 'at most 200 topics').optional(),
  train: z.array(stageSchema).min(1, 'at least one stage').max(16),
  equipment: z.record(id, equipmentSchema).optional(),
  signals: z.record(signalId, signalSchema.nullable()).refine((r) => Object.keys(r).length <= 500, 'at most 500 signals'),
  protections: z.record(id, z.strictObject({ what: text, present: z.boolean(), provedOn: z.iso.date().optional() })).optional(),
  consumables: z.record(id, z.strictObject({ name: text.optional(), full: z.number().positive(), unit: z.enum(['L', 'm', 'kg', 'doses']) })).optional(),
  alarms: z.record(z.string(), alarmSchema).optional(),
  state: z.strictObject({ is: z.enum(LIFE_STATES), until: z.iso.date().optional(), why: text.optional() }).optional(),
  alarmReview: z
    .strictObject({ owner: text.optional(), reviewedOn: z.iso.date().optional(), everyMonths: z.number().int().min(1).max(36, 'at most 36 months').optional() })
    .optional(),
})

export type SiteFile = z.infer<typeof siteFileSchema>
