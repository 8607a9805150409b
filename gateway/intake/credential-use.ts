/** When the credential of each site was last used on the own broker, kept over a restart. */
import { readFileSync, renameSync, writeFileSync } from 'node:fs'
import { z } from 'zod'

export interface CredentialUse {
  /** `stamp` names the credential: one that is made anew has not been used yet. */
  note(site: string, stamp: string | null, atMs: number): void
  /** null: never, as far as is known. */
  lastMs(site: string, stamp: string | null): number | null
  /** Writes it down when something has changed. Never throws: it is only told to people. */
  keep(): void
}

const shape = z.record(z.string(), z.object({ stamp: z.string(), ms: z.number() }))

export function openCredentialUse(file: string): CredentialUse {
  const used = readUses(file)
  let changed = false
  return {
    note(site, stamp, atMs) {
      if (stamp === null) return
      const was = used.get(site)
      if (was?.stamp === stamp) was.ms = atMs
      else used.set(site, { stamp, ms: atMs })
      changed = true
    },
    lastMs(site, stamp) {
      const u = used.get(site)
      return u && u.stamp === stamp ? u.ms : null
    },
    keep() {
      if (!changed) return
      changed = false
      try {
        writeFileSync(`${file}.new`, JSON.stringify(Object.fromEntries(used)), { mode: 0o600 })
        renameSync(`${file}.new`, file)
      } catch {
        // Tried again when it changes.
        changed = true
      }
    },
  }
}

/** A file that is lost or broken costs only the times in it. */
function readUses(file: string): Map<string, { stamp: string; ms: number }> {
  try {
    return new Map(Object.entries(shape.parse(JSON.parse(readFileSync(file, 'utf8')))))
  } catch {
    return new Map()
  }
}
