/** Takes a signal into the text of a site file. Everything a person wrote, comments included, stays as it is. */
import { isMap, isNode, isScalar, parseDocument } from 'yaml'
import { faultText, readSiteFile } from './site-file.ts'
import type { Site } from './site.ts'

export interface Adopted {
  readonly signal: string
  readonly quantity?: string
  /** UCUM. */
  readonly unit?: string
  readonly name?: string
  /** Stage or equipment it belongs to. */
  readonly in?: string
}

const SIGNAL_ID = /^[a-z0-9][a-z0-9_-]{0,40}(\.[a-z0-9][a-z0-9_-]{0,40}){0,3}$/

export type AdoptResult = { readonly ok: true; readonly text: string; readonly site: Site } | { readonly ok: false; readonly message: string }

/** The text with the signal in it, or why not: the text is read as a site file before it is given. `file`: its name, for messages. */
export function adopt(file: string, text: string, a: Adopted): AdoptResult {
  if (!SIGNAL_ID.test(a.signal)) return { ok: false, message: `"${a.signal.slice(0, 60)}" is no signal id: lower-case parts joined by dots, such as "bio1.do".` }
  const before = readSiteFile(file, text)
  if (!before.ok) return { ok: false, message: `The site file has faults of its own; put them right first. ${before.faults.map(faultText).join('; ')}` }
  if (before.site.signals.some((s) => s.id === a.signal)) return { ok: false, message: `${a.signal} is in ${file} already.` }
  const fields = Object.entries({ quantity: a.quantity, name: a.name, unit: a.unit, in: a.in }).filter(([, v]) => v !== undefined)
  const doc = parseDocument(text)
  const signals = doc.get('signals', true)
  if (!isMap(signals)) return { ok: false, message: `${file} has no map of signals to add to.` }
  const value = fields.length === 0 ? '' : ` { ${fields.map(([k, v]) => `${k}: ${JSON.stringify(v)}`).join(', ')} }`
  const last = signals.items.at(-1)
  const first = signals.items[0]
  if (signals.flow || !last || !first || !isScalar(last.key) || !isScalar(first.key) || !first.key.range)
    return { ok: false, message: `${file} writes its signals on one line, {...}: write one signal a line, then adopt again.` }
  // One line is put in and no other touched: a writer of YAML would lay the rest of the file out its own way.
  const end = (isNode(last.value) ? last.value.range?.[1] : undefined) ?? last.key.range?.[1] ?? text.length
  const lineEnd = text[end - 1] === '\n' ? end : text.indexOf('\n', end) + 1 || text.length
  const indent = first.key.range[0] - (text.lastIndexOf('\n', first.key.range[0] - 1) + 1)
  const head = text.slice(0, lineEnd)
  const out = `${head}${head.endsWith('\n') ? '' : '\n'}${' '.repeat(indent)}${a.signal}:${value}\n${text.slice(lineEnd)}`
  const after = readSiteFile(file, out)
  if (!after.ok) return { ok: false, message: after.faults.map((f) => f.message).join('; ') }
  return { ok: true, text: out, site: after.site }
}
