/** What vitals need of the site log: kit values, replacements, blowdowns. Corrections replace what they name; each list holds the newest 50. */
import type { LogEntry } from '../log/entry.ts'
import type { Memory } from './memory.ts'

const MOST = 50
const USED = ['kit', 'replacement', 'blowdown', 'calibration', 'refill'] as const

type Note = Pick<LogEntry, 'id' | 'kind' | 'atMs' | 'about' | 'item' | 'value' | 'unit' | 'below'>

export interface LogBook {
  note(e: LogEntry): void
  /** Of a kind, oldest first. */
  of(kind: (typeof USED)[number]): readonly Note[]
}

export function createLogBook(memory: Memory): LogBook {
  const state = memory.of<Record<string, Note[]>>('log', () => ({}))
  return {
    note(e) {
      if (e.corrects !== undefined) for (const list of Object.values(state)) remove(list, e.corrects)
      if (!USED.some((k) => k === e.kind)) return
      const list = (state[e.kind] ??= [])
      remove(list, e.id)
      const { id, kind, atMs, about, item, value, unit, below } = e
      list.push({
        id,
        kind,
        atMs,
        ...(about !== undefined && { about }),
        ...(item !== undefined && { item }),
        ...(value !== undefined && { value }),
        ...(unit !== undefined && { unit }),
        ...(below !== undefined && { below }),
      })
      list.sort((a, b) => a.atMs - b.atMs || a.id - b.id)
      if (list.length > MOST) list.shift()
    },
    of: (kind) => state[kind] ?? [],
  }
}

function remove(list: Note[], id: number): void {
  const i = list.findIndex((n) => n.id === id)
  if (i >= 0) list.splice(i, 1)
}
