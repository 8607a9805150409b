/** The course of one signal over a span, from the means of short spans as the history gives them. */
import type { Bucket } from '../../gateway/history/history.ts'
import { COURSE_LEVEL, courseOf, type Steps } from '../../gateway/trends/course.ts'
import { gridOf } from '../../gateway/trends/grid.ts'
import type { CourseBody } from '../wire.ts'
import type { Trended } from './history.ts'

/** Means whose median stands for a step: enough to leave a short excursion out, and 360 steps of them are what the history gives at once. */
export const MEANS_A_STEP = 12

/** What of a signal its course needs. */
export interface Coursed extends Trended {
  readonly resolution: number
  readonly digits: number
  readonly kind: 'analogue' | 'state' | 'counter'
}

export const whyNoCourse = (kind: Coursed['kind']): string | null =>
  kind === 'analogue' ? null : kind === 'counter' ? 'it counts, and so only ever rises: ask how far it moved in equal spans' : 'it is on or off and has no slope'

/** buckets  over `s.steps` x MEANS_A_STEP equal spans from `s.fromMs` */
export function courseBodyOf(
  site: string,
  signal: Coursed,
  span: { readonly fromMs: number; readonly toMs: number },
  s: Steps,
  buckets: readonly Bucket[],
  bucketMs: number,
): CourseBody {
  const grid = gridOf(
    buckets.map((b) => ({ atMs: b.fromMs + bucketMs / 2, value: b.mean })),
    { fromMs: s.fromMs, stepMs: s.stepMs, steps: s.steps, leastPerStep: 1 },
  )
  const why = whyNoCourse(signal.kind)
  const figure = (v: number): string =>
    `${v.toFixed(Math.max(signal.digits, Math.min(6, Math.ceil(-Math.log10(signal.resolution)))))}${signal.unitText === '' ? '' : ` ${signal.unitText}`}`
  const course = why === null ? courseOf(grid, signal.resolution, figure) : { kind: 'not-observable' as const, because: why }
  const body = {
    site,
    signal: signal.id,
    unit: signal.unit,
    unitText: signal.unitText,
    ...span,
    stepMs: s.stepMs,
    points: s.steps - grid.holes,
    steps: s.steps,
    level: COURSE_LEVEL,
  }
  if ('because' in course) return { ...body, why: course.because, line: null, step: null, stepWhy: null }
  const { line, step } = course
  return {
    ...body,
    why: null,
    line: { ...line, atMs: Math.round(line.atMs), perDay: { ...line.perDay } },
    step:
      'because' in step
        ? null
        : {
            lastBeforeMs: Math.round(step.lastBeforeMs),
            firstAfterMs: Math.round(step.firstAfterMs),
            earliestMs: step.earliestMs === null ? null : Math.round(step.earliestMs),
            latestMs: step.latestMs === null ? null : Math.round(step.latestMs),
            before: step.before,
            after: step.after,
          },
    stepWhy: 'because' in step ? step.because : null,
  }
}
