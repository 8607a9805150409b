/**
 * Links of the yard page, one a loop: whoever holds it may see that page of that loop and send its three reports, nothing else. Only
 * digests are kept, in `<data>/yard-links.json`, looked at anew whenever the file has changed, so that a second program with the same
 * data folder can make or withdraw one for a server that runs.
 */
import { randomBytes } from 'node:crypto'
import { statSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { readPrivate, writePrivate } from '../people/private-file.ts'
import { digestOf, sameDigest } from '../people/secret.ts'

const linksSchema = z.array(z.object({ site: z.string(), digest: z.string(), madeMs: z.number(), by: z.string() }))
type Links = z.infer<typeof linksSchema>

export interface YardLink {
  readonly madeMs: number
  readonly by: string
}

export interface YardLinks {
  /** Makes a link for a loop and gives its path; the one it had no longer works. */
  make(site: string, by: string, nowMs: number): string
  /** False: it had none. */
  withdraw(site: string): boolean
  of(site: string): YardLink | null
  /** The loop a token opens, however it is typed; null: none. */
  siteOf(token: string): string | null
  count(): number
}

/**
 * Ten random bytes, 80 bits, as sixteen letters and figures in four groups that can be typed from a sign: base 32 without I, L, O
 * and U (Crockford). At a million tries a second the middle one of 2000 such links is found after 9 million years.
 */
const ALPHABET = '0123456789abcdefghjkmnpqrstvwxyz'

function newToken(): string {
  let bits = 0n
  for (const byte of randomBytes(10)) bits = (bits << 8n) | BigInt(byte)
  const signs = Array.from({ length: 16 }, (_, i) => ALPHABET[Number((bits >> BigInt(5 * (15 - i))) & 31n)]).join('')
  return signs.replace(/(.{4})(?=.)/g, '$1-')
}

/** As it was made, from how a person may have typed it: any case, with or without dashes, o for 0, i and l for 1. Null: no token. */
function asMade(typed: string): string | null {
  if (typed.length > 40) return null
  const plain = typed.toLowerCase().replace(/[-\s]/g, '').replace(/o/g, '0').replace(/[il]/g, '1')
  return /^[0-9a-hjkmnp-tv-z]{16}$/.test(plain) ? plain : null
}

/** `log`: told once about a file that cannot be read; no link opens then, and none is made. */
export function openYardLinks(dataDir: string, log: (line: string) => void): YardLinks {
  const file = join(dataDir, 'yard-links.json')
  const notRead = `${file} cannot be read as the list of yard links: put it back from a backup, or remove it and make the links anew`
  let held: { readonly mark: string; readonly links: Links; readonly broken: boolean } = { mark: '', links: [], broken: false }

  const links = (): Links => {
    const stat = statSync(file, { throwIfNoEntry: false })
    const mark = stat ? `${stat.ino} ${stat.mtimeMs} ${stat.size}` : ''
    if (mark !== held.mark) {
      const text = readPrivate(file)
      try {
        held = { mark, links: text === null ? [] : linksSchema.parse(JSON.parse(text)), broken: false }
      } catch {
        held = { mark, links: [], broken: true }
        log(notRead)
      }
    }
    return held.links
  }
  /** What is not understood is not written over. */
  const write = (next: Links): void => {
    if (held.broken) throw new Error(notRead)
    writePrivate(file, `${JSON.stringify(next)}\n`)
  }

  return {
    make(site, by, nowMs) {
      const token = newToken()
      write([...links().filter((l) => l.site !== site), { site, digest: digestOf(asMade(token) ?? ''), madeMs: nowMs, by }])
      return `/yard/${token}`
    },
    withdraw(site) {
      const all = links()
      const rest = all.filter((l) => l.site !== site)
      if (rest.length === all.length && !held.broken) return false
      write(rest)
      return true
    },
    of(site) {
      const link = links().find((l) => l.site === site)
      return link ? { madeMs: link.madeMs, by: link.by } : null
    },
    siteOf(typed) {
      const token = asMade(typed)
      const digest = digestOf(token ?? '')
      let found: string | null = null
      // Every digest is compared in full, whichever fits.
      for (const l of links()) if (sameDigest(l.digest, digest)) found = l.site
      return token === null ? null : found
    },
    count: () => links().length,
  }
}

/** An address as it may stand in a log or a message: without the token of a yard link. */
export const withoutToken = (path: string): string => path.replace(/^(\/yard\/)[^/?]+/i, '$1(link)')
