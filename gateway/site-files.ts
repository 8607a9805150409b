/**
 * The folder of site files as the page changes it: looked at, tried, saved. Who saves names the version that was seen (`mark`, a hash
 * of the text); a file that is another by then, by somebody else in the page or an editor on disk, is not overwritten. The file
 * before is kept under `.before/`. A running gateway notices the changed file by itself.
 */
import { createHash } from 'node:crypto'
import { closeSync, existsSync, fsyncSync, mkdirSync, openSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeSync } from 'node:fs'
import { join } from 'node:path'
import type { Layers } from './alarms/changes.ts'
import { siteDifference } from './alarms/site-difference.ts'
import type { SiteFileAsk, SiteFileRefusal, SiteFileLine, SiteFilesPort, SiteFileTried } from './port.ts'
import { editText } from './site/edit.ts'
import { fieldsOf, strangeEdit } from './site/form-fields.ts'
import { lineDiff } from './site/line-diff.ts'
import { copiedSiteText, newSiteText } from './site/new-site.ts'
import { faultText, readSiteFile, type SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

export interface SiteFilesParts {
  readonly dir: string
  /** Why no file may be changed, and what to do; null: they may. */
  readonly locked: string | null
  /** What the page changes of alarms. */
  readonly layers: () => Layers
  /** Files whoever follows the folder has read already, with the site each holds: a large fleet is not read a second time. */
  readonly readable?: () => ReadonlyMap<string, Pick<Site, 'id' | 'name'>>
  readonly nowMs: () => number
}

/** Files before, of one site. */
const MOST_KEPT = 50
const NEW_MARK = 'new'
/** A file that has rested so long is as the follower has read it. */
const RESTED_MS = 15_000
const FILE = /^[A-Za-z0-9_][A-Za-z0-9_. -]{0,100}\.ya?ml$/

export function openSiteFiles(parts: SiteFilesParts): SiteFilesPort {
  const { dir, locked } = parts
  const names = (): readonly string[] => (existsSync(dir) ? readdirSync(dir).filter((n) => /\.ya?ml$/.test(n)) : []).sort()
  /** null: no such file. */
  const textOf = (file: string): string | null => (FILE.test(file) && names().includes(file) ? readFileSync(join(dir, file), 'utf8') : null)
  const unknown = (file: string): SiteFileRefusal => ({ ok: false, code: 'unknown-file', message: `no site file "${file.slice(0, 80)}" in the folder: it has ${some(names())}` })

  const lines = new Map<string, { readonly stamp: string; readonly line: SiteFileLine }>()
  const stampOf = (file: string): string => {
    const s = statSync(join(dir, file), { throwIfNoEntry: false })
    return s ? `${s.ino} ${s.mtimeMs} ${s.size}` : ''
  }
  /** Read once for each change of the file. */
  function lineOf(file: string, readable: ReadonlyMap<string, Pick<Site, 'id' | 'name'>>): SiteFileLine {
    const stamp = stampOf(file)
    const had = lines.get(file)
    if (had?.stamp === stamp) return had.line
    const known = readable.get(file)
    const rested = parts.nowMs() - (statSync(join(dir, file), { throwIfNoEntry: false })?.mtimeMs ?? Infinity) > RESTED_MS
    const line = known && rested && FILE.test(file) ? { file, site: known.id, name: known.name, faults: [] } : readLine(file)
    lines.set(file, { stamp, line })
    return line
  }
  function readLine(file: string): SiteFileLine {
    const text = textOf(file)
    if (text === null)
      return { file, site: null, name: null, faults: [{ file, line: 1, field: '', message: 'its name is none a page can change: letters, digits, - _ . and .yaml' }] }
    const read = readSiteFile(file, text)
    const raw = read.ok ? null : fieldsOf(text)
    const said = (v: unknown): string | null => (typeof v === 'string' ? v : null)
    return { file, site: read.ok ? read.site.id : said(raw?.id), name: read.ok ? read.site.name : said(raw?.name), faults: read.ok ? [] : read.faults }
  }

  function tryOut(file: string, ask: SiteFileAsk): SiteFileTried | SiteFileRefusal {
    const isNew = ask.mark === NEW_MARK
    const before = textOf(file)
    if (before === null && !isNew) return unknown(file)
    if (isNew && before !== null)
      return { ok: false, code: 'stale-file', message: `There is a file ${file} by now: somebody else has made it. Look at it, or give the new loop another id` }
    if (before !== null && ask.mark !== markOf(before))
      return {
        ok: false,
        code: 'stale-file',
        message: `${file} has been changed since you looked, by somebody else here or on disk. Look at it as it is now, then change it again`,
      }
    const strange = strangeEdit(ask.edits ?? [])
    if (strange) return { ok: false, code: 'not-saved', message: `"${strange.path.join('.')}" is no field of the form: change it in the text` }
    const edited = editText(ask.text ?? before ?? '', ask.edits ?? [])
    if (!edited.ok) return { ok: false, code: 'not-saved', message: `${edited.path.join('.')} ${edited.message}` }
    const { text } = edited
    const read = readSiteFile(file, text)
    const was = before === null ? null : readSiteFile(file, before)
    const wasSite = was?.ok ? was.site : null
    const faults: SiteFault[] = read.ok ? [...misplaced(file, read.site, wasSite, isNew)] : [...read.faults]
    const difference = read.ok && faults.length === 0 ? siteDifference(wasSite, read.site, parts.layers()) : null
    // A change of an alarm that cannot be taken is a fault of the file, but for those it had before.
    const hadFaults = new Set(wasSite ? siteDifference(null, wasSite, new Map()).alarmFaults.map((f) => f.key + f.message) : [])
    const alarmFaults = (difference?.alarmFaults ?? []).filter((f) => !hadFaults.has(f.key + f.message))
    faults.push(...alarmFaults.map((f) => ({ file, line: (read.ok ? read.alarmLines.get(f.key) : undefined) ?? 1, field: `alarms.${f.key}`, message: f.message })))
    return { ok: true, file, site: read.ok ? read.site.id : null, isNew, text, fields: fieldsOf(text), diff: lineDiff(before ?? '', text), faults, difference, mark: ask.mark }
  }

  /** What only the folder knows. */
  function misplaced(file: string, site: Site, was: Site | null, isNew: boolean): readonly SiteFault[] {
    const fault = (message: string): readonly SiteFault[] => [{ file, line: 1, field: 'id', message }]
    if (was && was.id !== site.id) return fault(`"${site.id}" found: a loop keeps its id, ${was.id}, because its history and its alarms stand under it; make a new site instead`)
    if (isNew && file !== `${site.id}.yaml`) return fault(`"${site.id}" found: the file of a new loop is called as its id, ${site.id}.yaml`)
    for (const other of names()) {
      if (other === file) continue
      const text = textOf(other) ?? ''
      // A large fleet is not read as a whole for every look.
      if (!text.includes(site.id)) continue
      const read = readSiteFile(other, text)
      if (read.ok && read.site.id === site.id) return fault(`"${site.id}" found: ${other} has the same id`)
    }
    return []
  }

  return {
    locked,
    folder: dir,
    list() {
      const all = names()
      for (const gone of [...lines.keys()].filter((f) => !all.includes(f))) lines.delete(gone)
      const readable = all.some((f) => lines.get(f)?.stamp !== stampOf(f)) ? (parts.readable?.() ?? new Map<string, Site>()) : new Map<string, Site>()
      return all.map((f) => lineOf(f, readable))
    },
    read(file) {
      const text = textOf(file)
      if (text === null) return unknown(file)
      const read = readSiteFile(file, text)
      const fields = fieldsOf(text)
      return {
        ok: true,
        file,
        site: read.ok ? read.site.id : typeof fields?.id === 'string' ? fields.id : null,
        text,
        fields,
        mark: markOf(text),
        faults: read.ok ? [] : read.faults,
      }
    },
    draft({ copyOf, ...n }) {
      const id = /^[a-z0-9][a-z0-9_-]{0,62}$/
      if (!id.test(n.id)) return { ok: false, code: 'not-saved', message: `"${n.id.slice(0, 60)}" is no id: lower-case letters, digits, - and _, such as "kestrow-berth-3"` }
      const from = copyOf === undefined ? null : textOf(copyOf)
      if (copyOf !== undefined && from === null) return unknown(copyOf)
      const made = from === null ? { ok: true as const, text: newSiteText(n) } : copiedSiteText(from, n)
      if (!made.ok) return { ok: false, code: 'not-saved', message: made.message }
      return tryOut(`${n.id}.yaml`, { mark: NEW_MARK, text: made.text })
    },
    preview: tryOut,
    save(file, ask) {
      if (locked !== null) return { ok: false, code: 'not-saved', message: locked }
      const tried = tryOut(file, ask)
      if (!tried.ok) return tried
      const [fault] = tried.faults
      if (fault) return { ok: false, code: 'not-saved', message: faultText(fault) }
      if (tried.diff.length === 0) return { ok: false, code: 'not-saved', message: 'nothing would change: the file says this already' }
      const path = join(dir, file)
      try {
        if (!tried.isNew && tried.site !== null) keepBefore(dir, tried.site, readFileSync(path, 'utf8'), parts.nowMs())
        mkdirSync(dir, { recursive: true })
        // Looked at a last time: whoever edits on disk does not ask us.
        const still = writeWhole(path, tried.text, () => (existsSync(path) ? markOf(readFileSync(path, 'utf8')) : NEW_MARK) === ask.mark)
        if (!still) return { ok: false, code: 'stale-file', message: `${file} has been changed this very moment. Look at it as it is now, then change it again` }
      } catch (e) {
        return { ok: false, code: 'not-saved', message: `${path} cannot be written: ${e instanceof Error ? e.message : String(e)}. See to the folder, then save again` }
      }
      return { ok: true, file, site: tried.site ?? '', isNew: tried.isNew, mark: markOf(tried.text), diff: tried.diff }
    },
  }
}

/** Names a text. */
const markOf = (text: string): string => createHash('sha256').update(text).digest('hex').slice(0, 20)
const some = (names: readonly string[]): string => (names.length === 0 ? 'none' : names.slice(0, 12).join(', ') + (names.length > 12 ? ` and ${names.length - 12} more` : ''))

/** Puts the text as it was aside; the oldest of the site go. */
function keepBefore(dir: string, site: string, text: string, nowMs: number): void {
  const folder = join(dir, '.before')
  mkdirSync(folder, { recursive: true })
  const stamp = new Date(nowMs).toISOString().replace(/[:.]/g, '-')
  writeWhole(join(folder, `${site}-${stamp}.yaml`), text, () => true)
  const own = readdirSync(folder)
    .filter((n) => n.startsWith(`${site}-`) && /^\d{4}-\d{2}-\d{2}T[\d-]+Z\.yaml$/.test(n.slice(site.length + 1)))
    .sort()
  for (const old of own.slice(0, Math.max(0, own.length - MOST_KEPT))) rmSync(join(folder, old), { force: true })
}

/** In one step: whoever reads the folder sees the old file or the new one, also after a power cut. false: `still` says that it is too late. */
function writeWhole(path: string, text: string, still: () => boolean): boolean {
  const next = `${path}.new`
  // The same name as adopting a signal uses, so that the two keep out of each other's way.
  const fd = openSync(next, 'wx')
  let done = false
  try {
    writeSync(fd, text)
    fsyncSync(fd)
    if (still()) {
      renameSync(next, path)
      done = true
    }
  } finally {
    closeSync(fd)
    if (!done) rmSync(next, { force: true })
  }
  return done
}
