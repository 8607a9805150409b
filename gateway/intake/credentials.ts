/**
 * One credential per site for the own broker: user name is the site id, the secret is shown once and kept only as a hash.
 * The file may be changed by another process (`npm run sites credential ...`); every look at it notices.
 *
 * The secret is 24 random bytes, so guessing is hopeless whatever the hash costs; scrypt runs at a modest cost because after
 * a restart two thousand controllers come back within a minute. A secret that has been verified once is remembered as its
 * SHA-256, so that reconnects cost nothing.
 */
import { createHash, randomBytes, scrypt, timingSafeEqual } from 'node:crypto'
import { closeSync, fsyncSync, mkdirSync, openSync, readFileSync, renameSync, rmSync, statSync, writeSync } from 'node:fs'
import { basename, dirname } from 'node:path'

export interface CredentialInfo {
  readonly site: string
  readonly createdMs: number
}

export type Verdict = 'right' | 'wrong' | 'busy'

export interface Credentials {
  /** Makes a credential and gives its secret, the only time it can be read. One that was there before ends. */
  add(site: string): Promise<string>
  list(): readonly CredentialInfo[]
  /** false: there was none. */
  revoke(site: string): boolean
  /** busy: too many are waiting to be verified; try again later. */
  verify(site: string, secret: string): Promise<Verdict>
  /** Changes when the site's credential is made anew; null: it has none. A session opened under another one must end. */
  stamp(site: string): string | null
  /** Looks whether another process has changed the file. */
  refresh(): void
  /** What is wrong with the file, a sentence; null: nothing. The last good content stays in force. */
  fault(): string | null
}

interface Entry {
  readonly salt: string
  readonly hash: string
  readonly n: number
  readonly r: number
  readonly p: number
  readonly createdMs: number
}

const COST = { n: 4096, r: 8, p: 1 } as const
const KEY_BYTES = 32
/** Two at once leave a thread of Node's pool for the disk. */
const MOST_AT_ONCE = 2
const MOST_WAITING = 4000

/** Opens the credentials in `file`, which need not exist yet. Throws when it is there and cannot be read. */
export function openCredentials(file: string, nowMs: () => number = Date.now): Credentials {
  let entries = new Map<string, Entry>()
  let mark = ''
  let fault: string | null = null
  const verified = new Map<string, { readonly stamp: string; readonly digest: Buffer }>()
  const gate = createGate(MOST_AT_ONCE, MOST_WAITING)

  const load = (): void => {
    const now = markOf(file)
    if (now === mark) return
    entries = now === '' ? new Map() : readEntries(file)
    mark = now
    fault = null
  }
  /** A file that another process left unreadable must not lock every site out. */
  const look = (): void => {
    try {
      load()
    } catch (e) {
      fault = e instanceof Error ? e.message : String(e)
    }
  }
  const save = (): void => {
    writeWhole(file, JSON.stringify({ version: 1, sites: Object.fromEntries([...entries].sort(([a], [b]) => (a < b ? -1 : 1))) }, null, 1))
    mark = markOf(file)
  }
  load()

  return {
    async add(site) {
      if (!/^[a-z0-9][a-z0-9_-]{0,62}$/.test(site)) throw new Error(`"${site}" is no site id: lower-case letters, digits, - and _`)
      const secret = randomBytes(24).toString('base64url')
      const salt = randomBytes(16)
      const hash = await derive(secret, salt, COST)
      load()
      entries.set(site, { salt: salt.toString('base64url'), hash: hash.toString('base64url'), ...COST, createdMs: nowMs() })
      save()
      return secret
    },
    list() {
      look()
      return [...entries].map(([site, e]) => ({ site, createdMs: e.createdMs }))
    },
    revoke(site) {
      load()
      const had = entries.delete(site)
      verified.delete(site)
      if (had) save()
      return had
    },
    async verify(site, secret) {
      look()
      const entry = entries.get(site)
      const digest = createHash('sha256').update(secret).digest()
      const known = verified.get(site)
      if (entry && known?.stamp === entry.salt) return timingSafeEqual(digest, known.digest) ? 'right' : 'wrong'
      // An unknown site costs as much as a wrong secret, so that the time taken does not tell which sites exist.
      const against = entry ?? NOBODY
      const hash = await gate(() => derive(secret, Buffer.from(against.salt, 'base64url'), against))
      if (hash === null) return 'busy'
      const expected = Buffer.from(against.hash, 'base64url')
      const right = entry !== undefined && expected.length === hash.length && timingSafeEqual(hash, expected)
      if (!right) return 'wrong'
      // It may have been revoked while the hash was being worked out.
      if (entries.get(site)?.salt !== entry.salt) return 'wrong'
      verified.set(site, { stamp: entry.salt, digest })
      return 'right'
    },
    stamp: (site) => entries.get(site)?.salt ?? null,
    refresh: look,
    fault: () => fault,
  }
}

const NOBODY: Entry = { salt: '', hash: '', ...COST, createdMs: 0 }

const derive = (secret: string, salt: Buffer, cost: { readonly n: number; readonly r: number; readonly p: number }): Promise<Buffer> =>
  new Promise((resolve, fail) => {
    scrypt(secret, salt, KEY_BYTES, { N: cost.n, r: cost.r, p: cost.p }, (e, key) => (e ? fail(e) : resolve(key)))
  })

/** Runs at most `atOnce` jobs, lets `waiting` wait, and answers null for the rest. */
function createGate(atOnce: number, waiting: number): <T>(job: () => Promise<T>) => Promise<T | null> {
  let running = 0
  const queue: (() => void)[] = []
  return async (job) => {
    if (running < atOnce) running++
    else if (queue.length >= waiting) return null
    else await new Promise<void>((resolve) => queue.push(resolve))
    try {
      return await job()
    } finally {
      // The place is handed on rather than given back, so that nobody slips in between.
      const next = queue.shift()
      if (next) next()
      else running--
    }
  }
}

/** Changes whenever the file does; empty: there is none. */
function markOf(file: string): string {
  const s = statSync(file, { throwIfNoEntry: false })
  return s ? `${s.ino} ${s.mtimeMs} ${s.size}` : ''
}

function readEntries(file: string): Map<string, Entry> {
  const wrong = (what: string): Error => new Error(`${basename(file)} ${what}: put back a backup, or delete it and make new credentials`)
  let raw: unknown
  try {
    raw = JSON.parse(readFileSync(file, 'utf8'))
  } catch (e) {
    throw wrong(`cannot be read (${e instanceof Error && 'code' in e ? String(e.code) : 'no JSON'})`)
  }
  if (typeof raw !== 'object' || raw === null || !('version' in raw) || !('sites' in raw) || typeof raw.sites !== 'object' || raw.sites === null)
    throw wrong('holds no list of credentials')
  if (raw.version !== 1) throw wrong(`has version ${String(raw.version)}, this program reads 1`)
  const out = new Map<string, Entry>()
  for (const [site, e] of Object.entries(raw.sites as Record<string, Partial<Entry> | null>)) {
    if (typeof e?.salt !== 'string' || typeof e.hash !== 'string' || typeof e.n !== 'number' || typeof e.r !== 'number' || typeof e.p !== 'number')
      throw wrong(`has an incomplete credential for ${site}`)
    out.set(site, { salt: e.salt, hash: e.hash, n: e.n, r: e.r, p: e.p, createdMs: e.createdMs ?? 0 })
  }
  return out
}

/** Replaces the file in one step: whoever reads it sees the old or the new content, also after a power cut. */
function writeWhole(file: string, text: string): void {
  mkdirSync(dirname(file), { recursive: true })
  const next = `${file}.${randomBytes(4).toString('hex')}.new`
  const fd = openSync(next, 'wx', 0o600)
  try {
    writeSync(fd, text)
    fsyncSync(fd)
  } catch (e) {
    rmSync(next, { force: true })
    throw e
  } finally {
    closeSync(fd)
  }
  renameSync(next, file)
  const dir = openSync(dirname(file), 'r')
  try {
    fsyncSync(dir)
  } finally {
    closeSync(dir)
  }
}
