/** Takes a signal into the text of a site file. Everything a person wrote, comments included, stays as it is. */
import { isMap, isNode, isScalar, isSeq, parseDocument, type YAMLMap } from 'yaml'
import type { ForeignPlace } from './foreign.ts'
import { faultText, readSiteFile } from './site-file.ts'
import type { Site } from './site.ts'

export interface Adopted {
  readonly signal: string
  readonly quantity?: string | undefined
  /** UCUM. With `from` the unit it is sent in: its figures are converted. */
  readonly unit?: string | undefined
  readonly name?: string | undefined
  /** Stage or equipment it belongs to. */
  readonly in?: string | undefined
  /** Where it stands in messages that are not in our form; its mapping is written as well. */
  readonly from?: ForeignPlace | undefined
}

const SIGNAL_ID = /^[a-z0-9][a-z0-9_-]{0,40}(\.[a-z0-9][a-z0-9_-]{0,40}){0,3}$/

export type AdoptResult =
  | {
      readonly ok: true
      readonly text: string
      readonly site: Site
      /** Where the line of the signal stands in `text`, counted from 1, and what it says. */
      readonly line: number
      readonly written: string
    }
  | { readonly ok: false; readonly message: string }

/** The text with the signal in it, or why not: the text is read as a site file before it is given. `file`: its name, for messages. */
export function adopt(file: string, text: string, a: Adopted): AdoptResult {
  if (!SIGNAL_ID.test(a.signal)) return { ok: false, message: `"${a.signal.slice(0, 60)}" is no signal id: lower-case parts joined by dots, such as "bio1.do".` }
  const before = readSiteFile(file, text)
  if (!before.ok) return { ok: false, message: `The site file has faults of its own; put them right first. ${before.faults.map(faultText).join('; ')}` }
  if (before.site.signals.some((s) => s.id === a.signal)) return { ok: false, message: `${a.signal} is in ${file} already.` }
  const doc = parseDocument(text)
  const fields = flow({ quantity: a.quantity, name: a.name, unit: a.from ? undefined : a.unit, in: a.in })
  const signals = doc.get('signals', true)
  if (!isMap(signals)) return { ok: false, message: `${file} has no map of signals to add to.` }
  const own = lineIn(text, signals, `${a.signal}:${fields}`)
  if (!own) return { ok: false, message: `${file} writes its signals on one line, {...}: write one signal a line, then adopt again.` }
  const puts = [own]
  if (a.from) {
    const { topic, path, when } = a.from
    const topics = doc.get('foreign', true)
    const entry = isSeq(topics) ? topics.items.find((t) => isMap(t) && t.get('topic') === topic) : undefined
    const mapped = isMap(entry) ? entry.get('signals', true) : undefined
    if (!isMap(mapped)) return { ok: false, message: `${file} maps no topic "${topic.slice(0, 60)}" under foreign: add it there, with its signals.` }
    const mapping = lineIn(text, mapped, `${a.signal}:${flow({ path, when: when ?? undefined, unit: a.unit })}`)
    if (!mapping) return { ok: false, message: `${file} writes the signals of the topic "${topic}" on one line, {...}: write one signal a line, then adopt again.` }
    puts.push(mapping)
  }
  let out = text
  for (const p of puts.toSorted((x, y) => y.at - x.at)) out = `${out.slice(0, p.at)}${p.at > 0 && out[p.at - 1] !== '\n' ? '\n' : ''}${p.line}\n${out.slice(p.at)}`
  const after = readSiteFile(file, out)
  if (!after.ok) return { ok: false, message: after.faults.map((f) => f.message).join('; ') }
  const earlier = puts.filter((p) => p.at < own.at).length
  const line = text.slice(0, own.at).split('\n').length + (text[own.at - 1] === '\n' ? 0 : 1) + earlier
  return { ok: true, text: out, site: after.site, line, written: own.line.trim() }
}

/** ` { quantity: "ph" }`; nothing when there is nothing to say. */
function flow(fields: Readonly<Record<string, unknown>>): string {
  const given = Object.entries(fields).filter(([, v]) => v !== undefined)
  return given.length === 0 ? '' : ` { ${given.map(([k, v]) => `${k}: ${JSON.stringify(v)}`).join(', ')} }`
}

/**
 * Where a line goes that is added to a map of a line each; null: the map is not written so. One line is put in and no other touched:
 * a writer of YAML would lay the rest of the file out its own way.
 */
function lineIn(text: string, map: YAMLMap, line: string): { readonly at: number; readonly line: string } | null {
  const last = map.items.at(-1)
  const first = map.items[0]
  if (map.flow || !last || !first || !isScalar(last.key) || !isScalar(first.key) || !first.key.range) return null
  const end = (isNode(last.value) ? last.value.range?.[1] : undefined) ?? last.key.range?.[1] ?? text.length
  const at = text[end - 1] === '\n' ? end : text.indexOf('\n', end) + 1 || text.length
  const indent = first.key.range[0] - (text.lastIndexOf('\n', first.key.range[0] - 1) + 1)
  return { at, line: ' '.repeat(indent) + line }
}
