/** Small files only their owner may read (mode 600), replaced whole, so that a reader never meets half of one. */
import { randomBytes } from 'node:crypto'
import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { dirname } from 'node:path'

export function writePrivate(file: string, text: string): void {
  mkdirSync(dirname(file), { recursive: true })
  const draft = `${file}.${randomBytes(6).toString('hex')}.tmp`
  writeFileSync(draft, text, { mode: 0o600, flush: true })
  renameSync(draft, file)
}

/** Text of the file, or null when there is none. */
export const readPrivate = (file: string): string | null => (existsSync(file) ? readFileSync(file, 'utf8') : null)
