/** Adopts an unassigned signal into the site file it belongs to, in one step: whoever reads the folder sees the old file or the new one. */
import { existsSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { adopt, type Adopted } from './site/adopt.ts'
import { readSiteFile } from './site/site-file.ts'

/** `line` counts from 1; `written` is what stands there now. */
export type FolderResult = { readonly ok: true; readonly file: string; readonly line: number; readonly written: string } | { readonly ok: false; readonly message: string }

/** A running gateway notices the changed file by itself. */
export function adoptInto(dir: string, site: string, signal: Adopted): FolderResult {
  const names = existsSync(dir) ? readdirSync(dir).filter((n) => /\.ya?ml$/.test(n)) : []
  for (const file of names.sort()) {
    const path = join(dir, file)
    const text = readFileSync(path, 'utf8')
    const read = readSiteFile(file, text)
    const named = read.ok ? read.site.id === site : new RegExp(`^id:\\s*["']?${site.replace(/[^a-z0-9_-]/g, '')}["']?\\s*(#|$)`, 'm').test(text)
    if (!named) continue
    const result = adopt(file, text, signal)
    if (!result.ok) return result
    const next = `${path}.new`
    try {
      writeFileSync(next, result.text, { flag: 'wx' })
      renameSync(next, path)
    } catch (e) {
      rmSync(next, { force: true })
      return { ok: false, message: `${path} cannot be written: ${e instanceof Error ? e.message : String(e)}` }
    }
    return { ok: true, file: path, line: result.line, written: result.written }
  }
  return { ok: false, message: `No site file in ${dir} has the id "${site}": give the folder with --sites DIR` }
}
