/** Where a dry run writes: a scratch history that is thrown away, told apart from what the real one holds already. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Clock } from '../../clock.ts'
import type { Reading } from '../../site/reading.ts'
import { openEmbedded, type EmbeddedHistory } from '../embedded.ts'
import type { AppendResult } from '../history.ts'

export interface DryRun {
  commit(batch: readonly Reading[]): Promise<AppendResult>
  close(): Promise<void>
}

/** `held`: the real history; null: there is none, or it cannot be asked. */
export function openDryRun(held: EmbeddedHistory | null, clock: Clock): DryRun {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-dry-run-'))
  const scratch = openEmbedded({ dir, clock })
  return {
    async commit(batch) {
      const known = await valuesHeld(held, batch)
      let duplicate = 0
      let conflict = 0
      const rest: Reading[] = []
      for (const r of batch) {
        const was = known.get(r.sourceMs)
        if (was === undefined) rest.push(r)
        else if (was === r.value) duplicate++
        else conflict++
      }
      const result = scratch.commit(rest)
      if (scratch.stats().unsealed > 2_000_000) scratch.sealStep(50)
      return { stored: result.stored, duplicate: result.duplicate + duplicate, conflict: result.conflict + conflict }
    },
    async close() {
      await scratch.close()
      rmSync(dir, { recursive: true, force: true })
    },
  }
}

/** Values held at the times of a batch, all of one key. */
async function valuesHeld(held: EmbeddedHistory | null, batch: readonly Reading[]): Promise<ReadonlyMap<number, number | null>> {
  const [first, last] = [batch[0], batch.at(-1)]
  if (!held || !first || !last) return new Map()
  const all = await held.range(first.key, first.sourceMs, last.sourceMs + 1, Number.MAX_SAFE_INTEGER)
  return new Map(all.map((r) => [r.sourceMs, r.value]))
}
