/**
 * May what a loop does now teach a rule what is normal? Not while its state says that this is not its usual course (loop-effect.ts), and what
 * a rule compares with not while another alarm of high or medium priority stands at its stage, or at none in particular: what a pump draws in a
 * power cut is not what it draws. The rule's own alarm does not count: what has stood as long as the span of its median is the new normal.
 */
import type { Run } from './engine-state.ts'
import { isActive } from './life.ts'

/** Of a site. */
export interface Teaching {
  /** Its state lets nothing be learned. */
  paused: boolean
  /** Its alarms of high or medium priority whose condition holds, whatever lies over them. */
  readonly standing: Set<Run>
}

export const newTeaching = (): Teaching => ({ paused: false, standing: new Set() })

/** Keeps the list of alarms that stand, after a change of one of them. */
export function sortStanding({ standing }: Teaching, run: Run): void {
  const { priority } = run.def
  if (isActive(run.life) && (priority === 'high' || priority === 'medium')) standing.add(run)
  else standing.delete(run)
}

export function teaches(run: Run): boolean {
  const { paused, standing } = run.site.teaching
  if (paused) return false
  for (const { def } of standing) if (def.id !== run.def.id && (def.stage === null || def.stage === run.def.stage)) return false
  return true
}
