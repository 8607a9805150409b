/**
 * Is the stored state of every alarm what the journal says? Goes through the whole journal once after a start, a page at a time with room
 * for others between, and compares. What differs is rebuilt from the journal, in the database and in the running keeper, and told.
 */
import type { AlarmJournal } from './journal.ts'
import { applyEvent, BORN, type Life } from './life.ts'
import { same } from './same.ts'

export interface StateCheck {
  /** null: not done yet. */
  readonly checked: number | null
  /** Alarms whose state was another, and has been rebuilt. */
  readonly mended: readonly string[]
  /** Why it could not be done; null: it can. */
  readonly failed: string | null
}

export interface CheckParts {
  readonly journal: Pick<AlarmJournal, 'lives' | 'lastSeq' | 'after' | 'mend'>
  /** Takes the rebuilt life into the running engine; false: not now, changes of it are under way. */
  readonly mend: (alarm: string, life: Life) => boolean
  /** Gives others their turn. */
  readonly breathe: () => Promise<void>
  readonly stopped: () => boolean
}

/** Events read in one go: a few milliseconds. */
const PAGE = 500
/** Times a rebuilt life is offered to the engine. */
const TRIES = 100

/** Never rejects. */
export async function checkStates(parts: CheckParts): Promise<StateCheck> {
  const { journal } = parts
  // Lives are never changed in place: a copy of the map is the state of this moment.
  const stored = new Map(journal.lives())
  const upTo = journal.lastSeq()
  const rebuilt = new Map<string, Life>()
  const mended: string[] = []
  try {
    for (let seq = 0; seq < upTo; ) {
      const page = await journal.after(seq, PAGE)
      const last = page.at(-1)
      if (!last) break
      for (const e of page) if (e.seq <= upTo) rebuilt.set(e.alarm, applyEvent(rebuilt.get(e.alarm) ?? BORN, e))
      seq = last.seq
      await parts.breathe()
      if (parts.stopped()) return { checked: null, mended, failed: null }
    }
    const alarms = new Set([...stored.keys(), ...rebuilt.keys()])
    for (const alarm of alarms) {
      if (same(stored.get(alarm) ?? BORN, rebuilt.get(alarm) ?? BORN)) continue
      const life = await journal.mend(alarm)
      for (let i = 0; i < TRIES && !parts.mend(alarm, life); i++) await parts.breathe()
      mended.push(alarm)
    }
    return { checked: alarms.size, mended, failed: null }
  } catch (e) {
    return { checked: null, mended, failed: e instanceof Error ? e.message : String(e) }
  }
}
