/** What one alarm, and one loop, shows: the letter, whether somebody has answered, whether it is still there. */
import type { AlarmBody, LoopBody } from '../../server/wire.ts'
import { LETTER, type Letter } from '../words/words.ts'
import { place, type Arc } from './arcs.ts'

/** Line under a mark: broken = still there, whole = gone, held = cannot be judged, latched = waits for a reset, aside = set aside: it lies in a tray. */
export type Line = 'broken' | 'whole' | 'held' | 'latched' | 'aside'

export interface Mark {
  readonly letter: Letter
  readonly answered: boolean
  readonly line: Line
}

export function markOf(a: Pick<AlarmBody, 'priority' | 'state' | 'heldSinceMs'> & Partial<Pick<AlarmBody, 'shown'>>): Mark {
  // Nobody is told of it, so nothing about it may look as if it called.
  if (a.shown !== undefined && a.shown !== a.state) return { letter: LETTER[a.priority], answered: true, line: 'aside' }
  const answered = a.state === 'acknowledged' || a.state === 'latched-acknowledged'
  const line: Line = a.heldSinceMs !== null ? 'held' : a.state.startsWith('latched') ? 'latched' : a.state === 'returned' ? 'whole' : 'broken'
  return { letter: LETTER[a.priority], answered, line }
}

/** Of a rule that stands nowhere: its letter alone. */
export const markOfPriority = (priority: AlarmBody['priority']): Mark => ({ letter: LETTER[priority], answered: true, line: 'whole' })

const RANK: Readonly<Record<Letter, number>> = { A: 0, B: 1, C: 2, W: 3 }

/** Unanswered first, then priority, then the newest. Alerts need no answer and stand last. */
export function byUrgency(a: AlarmBody, b: AlarmBody): number {
  const ma = markOf(a)
  const mb = markOf(b)
  const late = (m: Mark): number => (m.letter === 'W' ? 2 : m.answered ? 1 : 0)
  return late(ma) - late(mb) || RANK[ma.letter] - RANK[mb.letter] || (b.raisedMs ?? 0) - (a.raisedMs ?? 0)
}

/** Worst first by priority alone, unanswered before answered: what the ring shows. */
export function byWorst(a: AlarmBody, b: AlarmBody): number {
  const ma = markOf(a)
  const mb = markOf(b)
  return RANK[ma.letter] - RANK[mb.letter] || Number(ma.answered) - Number(mb.answered) || (b.raisedMs ?? 0) - (a.raisedMs ?? 0)
}

export interface OuterMark extends Mark {
  readonly stage: string
  readonly middle: number
  /** The condition is there now, so the ring stands open. */
  readonly opening: Arc | null
}

const OPENING: Readonly<Record<Letter, number>> = { A: 40, B: 24, C: 12, W: 0 }

/** The worst mark of each stage, three at most, with the opening it makes. */
export function outerMarks(loop: Pick<LoopBody, 'stages' | 'alarms'>): readonly OuterMark[] {
  const places = place(loop.stages)
  const out: OuterMark[] = []
  for (const a of [...loop.alarms].sort(byWorst)) {
    const at = places.find((p) => p.id === a.stage)
    if (!at || out.some((m) => m.stage === at.id) || out.length === 3) continue
    const mark = markOf(a)
    const width = Math.min(OPENING[mark.letter], at.arc.to - at.arc.from + 8)
    const open = width > 0 && a.state !== 'returned' && !a.state.startsWith('latched')
    out.push({ ...mark, stage: at.id, middle: at.middle, opening: open ? { from: at.middle - width / 2, to: at.middle + width / 2 } : null })
  }
  return out
}

/** The worst alarm of a loop, or null. */
export function worst(loop: Pick<LoopBody, 'alarms'>): AlarmBody | null {
  return [...loop.alarms].sort(byWorst)[0] ?? null
}

/** The worst alarm that belongs to no stage (power, link). */
export function siteWide(loop: Pick<LoopBody, 'alarms' | 'stages'>): AlarmBody | null {
  return [...loop.alarms].sort(byWorst).find((a) => !loop.stages.some((s) => s.id === a.stage)) ?? null
}
