/**
 * The built page, read into memory at the start. What is not in that list does not exist, so no path can lead out of the
 * folder; a page that was built anew needs a restart.
 */
import { createHash } from 'node:crypto'
import { readdirSync, readFileSync } from 'node:fs'
import { extname, join } from 'node:path'
import { gzipSync } from 'node:zlib'

export interface PageFile {
  readonly type: string
  readonly bytes: Buffer
  /** Null where compressing gains nothing. */
  readonly gzipped: Buffer | null
  readonly tag: string
  readonly cache: string
}

const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.mjs': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.json': 'application/json; charset=utf-8',
  '.map': 'application/json; charset=utf-8',
  '.webmanifest': 'application/manifest+json; charset=utf-8',
  '.svg': 'image/svg+xml',
  '.txt': 'text/plain; charset=utf-8',
  '.png': 'image/png',
  '.ico': 'image/x-icon',
  '.woff2': 'font/woff2',
}
const MOST_BYTES = 64 * 1024 * 1024

/** Files of `dir` by their path below the root, `/assets/app-3f2a.js`. Names with a leading dot are not part of the page. */
export function readPage(dir: string): ReadonlyMap<string, PageFile> {
  const out = new Map<string, PageFile>()
  let total = 0
  const walk = (path: string): void => {
    for (const e of readdirSync(join(dir, path), { withFileTypes: true })) {
      if (e.name.startsWith('.')) continue
      if (e.isDirectory()) walk(`${path}/${e.name}`)
      else if (e.isFile()) {
        const bytes = readFileSync(join(dir, path, e.name))
        total += bytes.length
        if (total > MOST_BYTES) throw new Error(`the page in ${dir} is larger than ${MOST_BYTES} bytes: is this the folder the page was built into?`)
        out.set(`${path}/${e.name}`, pageFile(`${path}/${e.name}`, bytes))
      }
    }
  }
  walk('')
  return out
}

export function pageFile(path: string, bytes: Buffer): PageFile {
  const type = TYPES[extname(path)] ?? 'application/octet-stream'
  const small = /^(text|application\/(json|manifest)|image\/svg)/.test(type) && bytes.length > 500 ? gzipSync(bytes, { level: 9 }) : null
  return {
    type,
    bytes,
    gzipped: small && small.length < bytes.length * 0.9 ? small : null,
    tag: `"${createHash('sha256').update(bytes).digest('base64url').slice(0, 22)}"`,
    // Files below /assets carry a digest in their name: another content is another file.
    cache: path.startsWith('/assets/') ? 'public, max-age=31536000, immutable' : 'no-cache',
  }
}
