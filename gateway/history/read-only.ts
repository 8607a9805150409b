/** A history for reading while another process may be writing to it: itself when it is free, a copy of it as it stands when it is not. */
import { mkdtempSync, rmSync } from 'node:fs'
import { join } from 'node:path'
import type { Clock } from '../clock.ts'
import { backupOf } from './backup.ts'
import { openEmbedded, type EmbeddedHistory } from './embedded.ts'
import { FILE_NAME } from './file.ts'
import { HistoryRefused } from './refused.ts'

export interface ForReading {
  readonly history: EmbeddedHistory
  readonly isCopy: boolean
  close(): Promise<void>
}

/** Throws HistoryRefused. The copy stands in the data folder, where there is room for a history, and is gone after `close`. */
export async function openForReading(dir: string, clock: Clock): Promise<ForReading> {
  try {
    const history = openEmbedded({ dir, clock })
    return { history, isCopy: false, close: () => history.close() }
  } catch (e) {
    if (!(e instanceof HistoryRefused && e.code === 'IN_USE')) throw e
  }
  const copy = mkdtempSync(join(dir, 'export-'))
  const remove = (): void => rmSync(copy, { recursive: true, force: true })
  try {
    await backupOf(dir, join(copy, FILE_NAME))
    const history = openEmbedded({ dir: copy, clock })
    return {
      history,
      isCopy: true,
      async close() {
        await history.close()
        remove()
      },
    }
  } catch (e) {
    remove()
    throw e
  }
}
