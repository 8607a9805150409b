/**
 * How far the import of a file has come, kept beside the history while it is under way, so that the same command goes on where a killed
 * or stopped one ended. Rows before the mark are read and judged again, for what the checks remember of them, but not written.
 */
import { createHash } from 'node:crypto'
import { closeSync, mkdirSync, openSync, readFileSync, readSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'

export interface ImportMark {
  /** Rows whose readings are all written. */
  readonly rows: number
  /** By key: what the store made of them. */
  readonly counts: Readonly<Record<string, { readonly stored: number; readonly duplicate: number; readonly differing: number }>>
}

export interface MarkFile {
  read(): ImportMark | null
  write(mark: ImportMark): void
  remove(): void
}

const SAMPLE_BYTES = 65_536

/** The mark of one file (known by its size, beginning and end) read with the same options. */
export function markOf(dataDir: string, file: string, bytes: number, options: unknown): MarkFile {
  const digest = createHash('sha256').update(JSON.stringify([bytes, options]))
  const fd = openSync(file, 'r')
  try {
    for (const from of [0, Math.max(0, bytes - SAMPLE_BYTES)]) {
      const sample = Buffer.alloc(SAMPLE_BYTES)
      digest.update(sample.subarray(0, readSync(fd, sample, 0, SAMPLE_BYTES, from)))
    }
  } finally {
    closeSync(fd)
  }
  const dir = join(dataDir, 'imports')
  const path = join(dir, `${digest.digest('hex').slice(0, 24)}.json`)
  return {
    read() {
      try {
        const mark = JSON.parse(readFileSync(path, 'utf8')) as ImportMark
        return Number.isInteger(mark.rows) && mark.rows > 0 ? mark : null
      } catch {
        // None, or one that was cut off: from the start, then. Readings held already are counted as repeated.
        return null
      }
    },
    write(mark) {
      mkdirSync(dir, { recursive: true })
      writeFileSync(`${path}.partial`, JSON.stringify(mark))
      renameSync(`${path}.partial`, path)
    },
    remove: () => rmSync(path, { force: true }),
  }
}
