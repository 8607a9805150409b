/** Under a lane, what its signals did over the span: a sentence or two each, for eyes and ears alike. */
import type { CourseBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { courseSentences } from '../state/course.ts'
import { now } from '../state/store.ts'

export type Courses = ReadonlyMap<string, CourseBody>

export function CourseWords({ signals, courses, loop }: { signals: readonly SignalBody[]; courses: Courses; loop: LoopDetailBody }) {
  const told = signals.flatMap((s) => (courses.has(s.id) ? [{ s, c: courses.get(s.id)! }] : []))
  if (told.length === 0) return null
  return (
    <div class="told">
      {told.map(({ s, c }) => (
        <p key={s.id}>
          <b>{s.name}.</b> <span aria-hidden="true">{courseSentences(s, c, loop.zone, now.peek(), s.unitText).join(' ')}</span>
          <span class="vh">{courseSentences(s, c, loop.zone, now.peek(), s.unitSpoken).join(' ')}</span>
        </p>
      ))}
    </div>
  )
}
