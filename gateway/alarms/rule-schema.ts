/**
 * A rule as a person writes it in a site file, or sends it: the fields of rule.ts, with lengths of time as text ("span: 2h" for `spanMs`).
 *
 *     tu.orp.step:
 *       what: Redox potential has dropped in the treatment unit
 *       rule: { kind: deviation, signal: tu.orp, from: { kind: median, span: 7d, least: 2d }, as: difference, side: low,
 *               limit: -150, deadband: 30, within: 2h, onDelay: 10min, offDelay: 30min, when: { value: { signal: tu.do, side: low, limit: 0.5 } } }
 */
import { z } from 'zod'
import { durationMs } from '../site/duration.ts'
import type { Condition, Rule } from './rule.ts'

const DAY_MS = 86_400_000
/** As many conditions as a person can still follow, and as deep. */
const MOST_PARTS = 6
const DEEPEST = 3

const signal = z.string().min(1).max(120)
const side = z.enum(['high', 'low'])
const number = z.number()
const deadband = z.number().min(0)
const delay = z
  .number()
  .min(0)
  .max(14 * DAY_MS, 'at most 14 days')
const span = z
  .number()
  .min(60_000, 'at least a minute')
  .max(90 * DAY_MS, 'at most 90 days')
const count = z.number().int().min(1).max(30)

const gate = z.strictObject({
  open: z.literal(true).optional(),
  signal: signal.optional(),
  signalForMs: delay.optional(),
  idle: signal.optional(),
  idleForMs: delay.optional(),
  after: z.strictObject({ signal, withinMs: delay }).optional(),
  value: z.strictObject({ signal, side, limit: number }).optional(),
  both: z.literal(true).optional(),
})
const timing = {
  onDelayMs: delay,
  offDelayMs: delay,
  nOfM: z.strictObject({ n: count, m: count, clearN: count, clearM: count }).optional(),
  when: gate.optional(),
}

const reference = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('value'), value: number }),
  z.strictObject({ kind: z.literal('signal'), signal }),
  z.strictObject({ kind: z.literal('median'), spanMs: span, leastMs: span }),
])

const SINGLE = [
  z.strictObject({
    kind: z.literal('limit'),
    signal,
    side,
    limit: number,
    deadband,
    end: z.enum(['low', 'high']).optional(),
    medianOverMs: span.optional(),
  }),
  z.strictObject({ kind: z.literal('state'), signal, value: z.literal([0, 1]) }),
  z.strictObject({ kind: z.literal('rate'), signal, side, limit: number, deadband, spanMs: span, perMs: span }),
  z.strictObject({
    kind: z.literal('deviation'),
    signal,
    from: reference,
    as: z.enum(['difference', 'ratio']),
    side,
    limit: number,
    deadband,
    withinMs: span.optional(),
    medianOverMs: span.optional(),
  }),
  z.strictObject({
    kind: z.literal('stuck'),
    signal,
    change: z.number().positive(),
    forMs: span,
    through: z
      .strictObject({ signal, value: z.literal([0, 1]).optional(), settleMs: delay, times: count })
      .nullable()
      .default(null),
    restsLow: number.nullable().default(null),
    restsHigh: number.nullable().default(null),
  }),
  z.strictObject({
    kind: z.literal('no-effect'),
    run: signal,
    flow: z.strictObject({ signal, low: number }).nullable().default(null),
    source: signal.nullable().default(null),
    target: signal.nullable().default(null),
    change: z.number().positive(),
    withinMs: span,
    idle: signal.nullable().default(null),
  }),
  z.strictObject({ kind: z.literal('no-response'), run: signal, signal, side: z.enum(['down', 'up']), doses: count, settleMs: delay, share: z.number().positive().max(1) }),
  z.strictObject({
    kind: z.literal('per-run'),
    run: signal,
    signal,
    take: z.enum(['max', 'min']),
    side,
    limit: number,
    deadband,
    times: count,
    leastRunMs: delay,
  }),
  z.strictObject({ kind: z.literal('day-total'), signal, wash: signal, factor: z.number().gt(1), least: z.number().min(0) }),
  z.strictObject({ kind: z.literal('drift'), signal, side, perDay: number, deadband, spanMs: span }),
  z.strictObject({ kind: z.literal('forecast'), signal, side, limit: number, spanMs: span, belowMs: span, deadbandMs: delay }),
] as const

function conditions(deep: number): z.ZodType<Condition> {
  if (deep === 0) return z.discriminatedUnion('kind', SINGLE) as z.ZodType<Condition>
  const of = z
    .array(conditions(deep - 1))
    .min(1)
    .max(MOST_PARTS)
  return z.discriminatedUnion('kind', [
    ...SINGLE,
    z.strictObject({ kind: z.literal('all-of'), of, withinMs: delay }),
    z.strictObject({ kind: z.literal('any-of'), of }),
  ]) as z.ZodType<Condition>
}

const parts = z
  .array(conditions(DEEPEST - 1))
  .min(1)
  .max(MOST_PARTS)
const ruleSchema = z.discriminatedUnion('kind', [
  ...SINGLE.map((s) => s.extend(timing)),
  z.strictObject({ kind: z.literal('all-of'), of: parts, withinMs: delay, ...timing }),
  z.strictObject({ kind: z.literal('any-of'), of: parts, ...timing }),
  z.strictObject({ kind: z.literal('over-run'), run: signal, factor: z.number().gt(1), floorMs: span, unlearnedMs: span, offDelayMs: delay, when: gate.optional() }),
] as never)

/** Fields that hold a length of time: `spanMs` here, `span` in the file. */
const TIMES = new Set(['onDelay', 'offDelay', 'span', 'per', 'within', 'medianOver', 'for', 'settle', 'leastRun', 'below', 'signalFor', 'idleFor', 'floor', 'unlearned'])

/** The rule, or one sentence about what is wrong, with the field as it was written. */
export function readRule(written: unknown): Rule | string {
  const wrong: string[] = []
  const read = ruleSchema.safeParse(timesIn(written, '', wrong))
  if (wrong[0] !== undefined) return wrong[0]
  if (read.success) return signFault(read.data as Rule) ?? (read.data as Rule)
  const [issue] = read.error.issues
  const path = (issue?.path ?? []).map(String).join('.').replace(/Ms\b/g, '')
  return `rule${path === '' ? '' : `.${path}`}: ${issue?.message ?? 'not understood'}`
}

/** `2h` under a name of a time becomes milliseconds under its name with Ms. `least` and `deadband` are times only beside a span of time. */
function timesIn(v: unknown, path: string, wrong: string[]): unknown {
  if (Array.isArray(v)) return v.map((x, i) => timesIn(x, `${path}.${i}`, wrong))
  if (typeof v !== 'object' || v === null) return v
  return Object.fromEntries(
    Object.entries(v).map(([key, value]) => {
      if (typeof value !== 'string' || !(TIMES.has(key) || key === 'least' || key === 'deadband')) return [key, timesIn(value, `${path}.${key}`, wrong)]
      const ms = durationMs(value)
      if (ms === null) wrong.push(`rule${path}.${key}: "${value}" found, a length of time with its unit is needed, such as "10s", "5min", "2h", "7d"`)
      return [`${key}Ms`, ms]
    }),
  )
}

/** A deviation or a rate on the high side is above zero, on the low side below it; a ratio lies on its side of one. */
function signFault(rule: Rule | Condition): string | null {
  if (rule.kind === 'all-of' || rule.kind === 'any-of') {
    for (const c of rule.of) {
      const fault = signFault(c)
      if (fault !== null) return fault
    }
    return null
  }
  const figure = rule.kind === 'drift' ? rule.perDay : rule.kind === 'rate' || rule.kind === 'deviation' || rule.kind === 'per-run' ? rule.limit : null
  if (figure === null || !('side' in rule)) return null
  const middle = rule.kind === 'deviation' && rule.as === 'ratio' ? 1 : 0
  const name = rule.kind === 'drift' ? 'perDay' : 'limit'
  if (rule.side === 'high' ? figure > middle : figure < middle) return null
  return `rule.${name}: ${figure} found; on side ${rule.side} of a ${rule.kind} it must be ${rule.side === 'high' ? 'above' : 'below'} ${middle}`
}
