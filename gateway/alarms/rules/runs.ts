/**
 * The runs of a machine as its contact tells them: from the reading that finds it at work to the one that finds it at rest. A run
 * whose beginning or end fell into a time without usable readings has no length and is passed by.
 */
import type { SignalMemory } from '../signal-memory.ts'

export interface Runs {
  /** After each reading of the contact. Gives the run that has just ended. */
  take(m: SignalMemory, atMs: number): { readonly fromMs: number; readonly toMs: number } | null
  /** Start of the run that goes on; null: at rest. */
  sinceMs(): number | null
}

/** `work`: the reading that counts as at work. */
export function createRuns(work: 0 | 1 = 1): Runs {
  let startMs: number | null = null
  let lastMs = Number.NEGATIVE_INFINITY
  /** Its beginning was seen. */
  let whole = false
  return {
    take(m, atMs) {
      const gap = atMs - lastMs > m.staleAfterMs
      lastMs = atMs
      const on = m.kind === 'counter' ? m.busySinceMs !== null : (m.value !== 0) === (work === 1)
      if (on) {
        if (startMs === null || gap) {
          startMs = atMs
          whole = !gap
        }
        return null
      }
      const run = startMs === null || gap || !whole ? null : { fromMs: startMs, toMs: atMs }
      startMs = null
      return run
    },
    sinceMs: () => startMs,
  }
}
