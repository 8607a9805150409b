/** A trend of the story: buckets over any span, with a time when nothing came and, for pH, one when what came was no reading. */
import { courseBodyOf, MEANS_A_STEP } from '../../server/bodies/course.ts'
import { unitText } from '../../server/bodies/unit.ts'
import type { CourseBody, HistoryBody } from '../../server/wire.ts'
import { QUANTITIES } from '../../gateway/site/quantity.ts'
import type { Signal } from '../../gateway/site/site.ts'
import { stepsOf } from '../../gateway/trends/course.ts'
import { chance, doubtedIn, rejectedIn, rounded, silentIn, valueAt } from './story.ts'
import type { Loop } from './yards.ts'

const DAY = 86_400_000

export function trendOf(loop: Loop, signal: Signal, fromMs: number, toMs: number, points: number, nowMs: number): HistoryBody {
  const bucketMs = Math.max(1, Math.ceil((toMs - fromMs) / points))
  const lastMs = loop.heardMs ?? nowMs - 40 * DAY
  const firstMs = nowMs - 40 * DAY
  const body: HistoryBody = {
    site: loop.site.id,
    signal: signal.id,
    unit: signal.unit,
    unitText: unitText(signal.unit),
    fromMs,
    toMs,
    bucketMs,
    at: [],
    count: [],
    bad: [],
    min: [],
    max: [],
    mean: [],
    first: [],
    last: [],
    worst: [],
    extent: { firstMs, lastMs },
  }
  const [quietFrom, quietTo] = silentIn(nowMs)
  const [badFrom, badTo] = rejectedIn(nowMs)
  const [doubtFrom, doubtTo] = doubtedIn(nowMs)
  const every = signal.sampleEveryMs
  for (let at = fromMs; at < toMs; at += bucketMs) {
    const middle = at + bucketMs / 2
    const none = middle > lastMs || middle < firstMs || (middle > quietFrom && middle < quietTo)
    const rejected = signal.quantity === 'ph' && middle > badFrom && middle < badTo
    // Spans narrower than the sampling hold a reading only now and then, as in a real history.
    const count = none || rejected ? 0 : bucketMs >= every ? Math.round(bucketMs / every) : Math.floor((at + bucketMs) / every) - Math.floor(at / every)
    body.at.push(Math.round(at))
    body.count.push(count)
    body.bad.push(rejected ? Math.max(1, Math.round(bucketMs / every)) : 0)
    const mean = count > 0 ? valueAt(signal, { ms: middle, nowMs, site: loop.site.id, airLost: loop.airLost }) : null
    const half = mean === null || signal.unit === '1' ? 0 : Math.abs(mean) * 0.02 * chance(`${signal.id}${at}`) * Math.min(1, bucketMs / 30_000)
    body.mean.push(mean)
    body.min.push(mean === null ? null : mean - half)
    body.max.push(mean === null ? null : mean + half)
    body.first.push(mean === null ? null : rounded(signal, mean))
    body.last.push(mean === null ? null : rounded(signal, mean))
    body.worst.push(mean === null ? (rejected ? 'bad' : null) : signal.id === 'bio1.do' && middle > doubtFrom && middle < doubtTo ? 'uncertain' : 'good')
  }
  return body
}

/** Its course, worked out from that trend as the server would. */
export function fakeCourse(loop: Loop, signal: Signal, fromMs: number, toMs: number, nowMs: number): CourseBody {
  const s = stepsOf(fromMs, toMs, Math.max(signal.sampleEveryMs, signal.reportEveryMs))
  const h = trendOf(loop, signal, s.fromMs, toMs, s.steps * MEANS_A_STEP, nowMs)
  const buckets = h.at.map((at, i) => ({
    fromMs: at,
    count: h.count[i] ?? 0,
    bad: h.bad[i] ?? 0,
    min: h.min[i] ?? null,
    max: h.max[i] ?? null,
    mean: h.mean[i] ?? null,
    first: h.first[i] ?? null,
    last: h.last[i] ?? null,
    worst: h.worst[i] ?? null,
  }))
  return courseBodyOf(loop.site.id, { ...signal, unitText: unitText(signal.unit), kind: QUANTITIES[signal.quantity].kind }, { fromMs, toMs }, s, buckets, h.bucketMs)
}
