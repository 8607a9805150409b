import { z } from 'zod'
import { longCsv } from '../../gateway/history/csv/long.ts'
import { wideCsv } from '../../gateway/history/csv/wide.ts'
import { keyOf, signalOfKey, siteOfKey } from '../../gateway/site/reading.ts'
import type { GatewayPort } from '../../gateway/port.ts'
import { stepsOf } from '../../gateway/trends/course.ts'
import { courseBodyOf, MEANS_A_STEP, whyNoCourse } from '../bodies/course.ts'
import { historyBodyOf } from '../bodies/history.ts'
import { Fault, shown } from '../errors.ts'
import { courseBody, historyBody } from '../wire.ts'
import { countField, siteField, timeField } from './fields.ts'
import { coursedOf, loopOf, signalOf } from './known.ts'
import { row, textRow } from './row.ts'

const DAY_MS = 86_400_000
const MOST_SIGNALS = 500

export const historyRows = [
  row({
    method: 'GET',
    path: '/api/history/:site/:signal',
    summary: 'A trend of one signal in equal spans; a span without readings has count 0 and null figures.',
    params: z.strictObject({ site: siteField, signal: z.string().min(1).max(200).describe('Id of a signal of that loop, measured or computed.') }),
    query: z.strictObject({
      from: timeField.optional().describe('Start, inclusive; a day before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
      points: countField(1, 5000, 'Number of spans; 600 unless given').optional(),
    }),
    reply: historyBody,
    faults: ['unknown-loop', 'unknown-signal'],
    async answer({ gateway }, { params, query, nowMs }) {
      const signal = signalOf(gateway, loopOf(gateway, params.site), params.signal)
      const { fromMs, toMs } = spanOf(query, nowMs, DAY_MS)
      const key = keyOf(params.site, params.signal)
      const [series, extent] = await Promise.all([gateway.history.buckets([key], fromMs, toMs, query.points ?? 600), gateway.history.extent(key)])
      const first = series[0] ?? { key, bucketMs: toMs - fromMs, buckets: [] }
      return historyBodyOf(params.site, signal, fromMs, toMs, first, extent)
    },
  }),
  row({
    method: 'GET',
    path: '/api/history/:site/:signal/course',
    summary:
      'Did a signal drift over a span, how fast, and did its level step: the Theil-Sen slope and the likeliest break, each with its interval of 95 %, or why it cannot be told. From medians of at most 360 even steps.',
    params: z.strictObject({ site: siteField, signal: z.string().min(1).max(200).describe('Id of a signal of that loop, measured or computed.') }),
    query: z.strictObject({
      from: timeField.optional().describe('Start, inclusive; a day before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
    }),
    reply: courseBody,
    faults: ['unknown-loop', 'unknown-signal'],
    async answer({ gateway }, { params, query, nowMs }) {
      const { signal, everyMs } = coursedOf(gateway, loopOf(gateway, params.site), params.signal)
      const span = spanOf(query, nowMs, DAY_MS)
      const steps = stepsOf(span.fromMs, span.toMs, everyMs)
      // What cannot have a course costs no read either.
      const [series] =
        whyNoCourse(signal.kind) === null ? await gateway.history.buckets([keyOf(params.site, params.signal)], steps.fromMs, span.toMs, steps.steps * MEANS_A_STEP) : []
      return courseBodyOf(params.site, signal, span, steps, series?.buckets ?? [], series?.bucketMs ?? steps.stepMs)
    },
  }),
  textRow('text/csv; charset=utf-8; header=present', {
    method: 'GET',
    path: '/api/history.csv',
    summary: 'Readings of many signals as CSV with their quality, sent as they are read: long form has a line for each reading, wide form a line for each time.',
    query: z.strictObject({
      signals: z.string().min(3).max(15_000).describe(`Signals as <loop>/<signal>, or a loop for all of its own; with commas, at most ${MOST_SIGNALS}.`),
      from: timeField.optional().describe('Start, inclusive; a day before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
      form: z.enum(['long', 'wide']).optional().describe('`long` unless given.'),
    }),
    faults: ['unknown-loop', 'unknown-signal'],
    answer({ gateway }, { query, nowMs, setHeader }) {
      const { fromMs, toMs } = spanOf(query, nowMs, DAY_MS)
      const keys = keysOf(gateway, query.signals)
      setHeader('content-disposition', 'attachment; filename="readings.csv"')
      return (query.form === 'wide' ? wideCsv : longCsv)(gateway.history, keys, fromMs, toMs)
    },
  }),
]

function keysOf(gateway: GatewayPort, text: string): readonly string[] {
  const keys = text
    .split(',')
    .map((name) => name.trim())
    .filter((name) => name !== '')
    .flatMap((name) => {
      const loop = loopOf(gateway, name.includes('/') ? siteOfKey(name) : name)
      if (!name.includes('/')) return loop.site.signals.map((s) => keyOf(loop.site.id, s.id))
      return [keyOf(loop.site.id, signalOf(gateway, loop, signalOfKey(name)).id)]
    })
  const each = [...new Set(keys)]
  if (each.length >= 1 && each.length <= MOST_SIGNALS) return each
  throw new Fault('bad-request', `query field signals: ${each.length} signals found in ${shown(text)}: 1 to ${MOST_SIGNALS} are given at once`)
}

/** [from, to) as asked, `lengthMs` up to now where nothing is said. */
export function spanOf(
  query: { readonly from?: number | undefined; readonly to?: number | undefined },
  nowMs: number,
  lengthMs: number,
): { readonly fromMs: number; readonly toMs: number } {
  const toMs = query.to ?? Math.max(nowMs, (query.from ?? 0) + 1)
  const fromMs = query.from ?? Math.max(0, toMs - lengthMs)
  if (fromMs < toMs) return { fromMs, toMs }
  throw new Fault('bad-request', `query fields from and to: ${fromMs} and ${toMs} found (ms since 1970 UTC): from must lie before to`)
}
