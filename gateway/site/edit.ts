/**
 * Changes fields in the text of a site file. Comments, order and layout of everything else stay as a person wrote them: only the
 * characters of the value that changes are replaced, because a writer of YAML would lay the whole file out its own way.
 */
import { isAlias, isMap, isNode, isScalar, parseDocument, type Document, type Pair, type YAMLMap } from 'yaml'

export type FieldValue = string | number | boolean | readonly (string | number)[] | { readonly [key: string]: FieldValue }

/** `value` null: the field goes. */
export interface Edit {
  readonly path: readonly string[]
  readonly value: FieldValue | null
}

export type EditResult = { readonly ok: true; readonly text: string } | { readonly ok: false; readonly path: readonly string[]; readonly message: string }

/** Where a new field of the file goes: after the nearest of these that is there. */
const ORDER =
  'id name area customer zone position altitudeM open staffed yardPhone reach access instrumentation sampleEvery reportEvery dataPlanMb clock foreign train equipment signals protections consumables alarms state alarmReview'.split(
    ' ',
  )

/** The text with all edits made, in their order; or the first that cannot be made by a form. `text` must be readable as YAML. */
export function editText(text: string, edits: readonly Edit[]): EditResult {
  let out = text
  let doc = parseDocument(text)
  for (const edit of edits) {
    const refuse = (message: string): EditResult => ({ ok: false, path: edit.path, message })
    if (doc.errors[0]) return refuse(`not readable as YAML: ${doc.errors[0].message}`)
    if (!isMap(doc.contents)) return refuse('the file holds no fields')
    if (same(read(doc, edit.path), edit.value)) continue
    const wanted = withValue(doc.toJS() as Tree, edit.path, edit.value)
    const next = put(out, doc.contents, edit.path, edit.value, true)
    const after = next === null ? null : parseDocument(next)
    // Whatever the layout was, the file must then say what was meant and nothing else.
    if (next === null || !after || after.errors.length > 0 || !same(after.toJS(), wanted)) return refuse('is written in a way the form cannot change: change it in the text')
    out = next
    doc = after
  }
  return { ok: true, text: out }
}

type Tree = { [key: string]: unknown }

function read(doc: Document, path: readonly string[]): unknown {
  let at: unknown = doc.toJS()
  for (const key of path) at = isTree(at) && Object.hasOwn(at, key) ? at[key] : null
  return at ?? null
}

const isTree = (v: unknown): v is Tree => typeof v === 'object' && v !== null && !Array.isArray(v)

/** A map that would be left empty goes too; but a signal of which nothing is said is still a signal. */
function withValue(tree: Tree, [key = '', ...rest]: readonly string[], value: FieldValue | null, ofSignals = false): Tree {
  const out = { ...tree }
  if (rest.length > 0) {
    const inner = withValue(isTree(tree[key]) ? (tree[key] as Tree) : {}, rest, value, key === 'signals')
    if (Object.keys(inner).length > 0) out[key] = inner
    else if (ofSignals) out[key] = null
    else if (Object.hasOwn(tree, key)) delete out[key]
  } else if (value === null) delete out[key]
  else out[key] = value
  return out
}

function same(a: unknown, b: unknown): boolean {
  if (Array.isArray(a) && Array.isArray(b)) return a.length === b.length && a.every((x, i) => same(x, b[i]))
  if (isTree(a) && isTree(b)) return Object.keys(a).length === Object.keys(b).length && Object.keys(a).every((k) => Object.hasOwn(b, k) && same(a[k], b[k]))
  return a === b
}

/** null: not in this layout. */
function put(text: string, map: YAMLMap, [key = '', ...rest]: readonly string[], value: FieldValue | null, top: boolean, ofSignals = false): string | null {
  const pair = map.items.find((p) => isScalar(p.key) && String(p.key.value) === key)
  if (!pair) return value === null ? text : insert(text, map, key, nested(rest, value), top)
  if (isAlias(pair.value)) return null
  if (rest.length === 0) {
    if (value === null) return remove(text, map, pair)
    return isMap(pair.value) && isTree(value) ? putMap(text, pair, value) : replace(text, pair, value, map.flow === true)
  }
  if (!isMap(pair.value)) return value === null ? text : replace(text, pair, nested(rest, value), map.flow === true)
  if (value === null && pair.value.items.length === 1 && rest.length === 1 && pair.value.has(rest[0])) return ofSignals ? empty(text, pair) : remove(text, map, pair)
  return put(text, pair.value, rest, value, false, top && key === 'signals')
}

const nested = (path: readonly string[], value: FieldValue): FieldValue => path.reduceRight<FieldValue>((inner, key) => ({ [key]: inner }), value)

/** A map is changed key by key, so that the remarks in it stay. */
function putMap(text: string, pair: Pair, value: { readonly [key: string]: FieldValue }): string | null {
  let out: string | null = text
  const path = [String((pair.key as { value: unknown }).value)]
  const had = isMap(pair.value) ? pair.value.items.map((p) => String(isScalar(p.key) ? p.key.value : p.key)) : []
  // What comes is put in before what goes is taken out: a map that is empty in between would go itself.
  const steps: readonly Edit[] = [
    ...Object.entries(value).map(([k, v]) => ({ path: [k], value: v })),
    ...had.filter((k) => !Object.hasOwn(value, k)).map((k) => ({ path: [k], value: null })),
  ]
  for (const s of steps) {
    if (out === null) return null
    const doc: Document = parseDocument(out)
    const map = mapAt(doc, path, pair)
    if (!map) return null
    if (!same((map.toJS(doc) as Tree)[s.path[0] ?? ''] ?? null, s.value)) out = put(out, map, s.path, s.value, false)
  }
  return out
}

/** The map under the key that stood at the same place before: what lies ahead of it in the text has not moved. */
function mapAt(doc: Document, path: readonly string[], pair: Pair): YAMLMap | null {
  const at = isScalar(pair.key) ? pair.key.range?.[0] : undefined
  const search = (map: YAMLMap): YAMLMap | null => {
    for (const p of map.items) {
      if (isScalar(p.key) && p.key.range?.[0] === at && String(p.key.value) === path[0]) return isMap(p.value) ? p.value : null
      const inner = isMap(p.value) ? search(p.value) : null
      if (inner) return inner
    }
    return null
  }
  return isMap(doc.contents) ? search(doc.contents) : null
}

const keyEnd = (pair: Pair): number | null => (isScalar(pair.key) && pair.key.range ? pair.key.range[1] : null)

function replace(text: string, pair: Pair, value: FieldValue, inFlow: boolean): string | null {
  const from = keyEnd(pair)
  if (from === null) return null
  const colon = text.indexOf(':', from)
  if (colon < 0) return null
  const { value: was } = pair
  if (!isNode(was) || !was.range || was.range[0] === was.range[1]) return `${text.slice(0, colon + 1)} ${written(value, inFlow)}${text.slice(colon + 1)}`
  const [start, end] = was.range
  const oneLine = !text.slice(colon, end).includes('\n')
  const quoted = isScalar(was) && was.type === 'QUOTE_DOUBLE' && typeof value === 'string'
  const fresh = quoted ? JSON.stringify(value) : written(value, inFlow)
  if (oneLine) return text.slice(0, start) + fresh + text.slice(end)
  // A value over several lines: the remark behind its key stays, the break before the next field too.
  const last = text.slice(start, end).trimEnd().length + start
  const head = text.slice(colon + 1, start)
  const remark = /^[ \t]*(#[^\n]*)/.exec(head)?.[1]
  return `${text.slice(0, colon + 1)} ${fresh}${remark ? ` ${remark}` : ''}${text.slice(last)}`
}

/** Takes the value from behind its key; a remark on the line stays. */
function empty(text: string, pair: Pair): string | null {
  const from = keyEnd(pair)
  if (from === null || !isNode(pair.value) || !pair.value.range) return null
  const colon = text.indexOf(':', from)
  const [start, end] = pair.value.range
  if (!text.slice(colon, end).includes('\n')) return text.slice(0, colon + 1) + text.slice(end)
  return `${text.slice(0, text.lastIndexOf('\n', start))}${text.slice(text.slice(start, end).trimEnd().length + start)}`
}

function remove(text: string, map: YAMLMap, pair: Pair): string | null {
  if (!isScalar(pair.key) || !pair.key.range) return null
  const from = pair.key.range[0]
  const valueEnd = isNode(pair.value) && pair.value.range ? Math.max(pair.value.range[1], pair.key.range[1]) : pair.key.range[1]
  const end = text.slice(from, valueEnd).trimEnd().length + from
  if (map.flow) {
    const i = map.items.indexOf(pair)
    const next = map.items[i + 1]
    if (next && isScalar(next.key) && next.key.range) return text.slice(0, from) + text.slice(next.key.range[0])
    const before = map.items[i - 1]
    if (!before || !isScalar(before.key) || !before.key.range) return null
    const comma = text.lastIndexOf(',', from)
    return comma < before.key.range[1] ? null : text.slice(0, comma) + text.slice(end)
  }
  const lineStart = text.lastIndexOf('\n', from - 1) + 1
  const lineEnd = text.indexOf('\n', end)
  return text.slice(lineStart, from).trim() !== '' ? null : text.slice(0, lineStart) + (lineEnd < 0 ? '' : text.slice(lineEnd + 1))
}

function insert(text: string, map: YAMLMap, key: string, value: FieldValue, top: boolean): string | null {
  const fresh = `${plainKey(key)}: ${written(value, map.flow === true)}`
  if (map.flow) {
    if (!map.range) return null
    const close = map.range[1] - 1
    if (text[close] !== '}') return null
    const inside = text.slice(map.range[0] + 1, close).trimEnd()
    if (map.items.length === 0) return `${text.slice(0, map.range[0])}{ ${fresh} }${text.slice(close + 1)}`
    const at = map.range[0] + 1 + inside.length
    return `${text.slice(0, at)}${inside.endsWith(',') ? ' ' : ', '}${fresh}${text.slice(at)}`
  }
  const first = map.items[0]
  if (!first || !isScalar(first.key) || !first.key.range) return null
  const indent = first.key.range[0] - (text.lastIndexOf('\n', first.key.range[0] - 1) + 1)
  const after = (top ? placeFor(map, key) : map.items.at(-1)) ?? first
  if (!isScalar(after.key)) return null
  const end = (isNode(after.value) ? after.value.range?.[1] : undefined) ?? after.key.range?.[1] ?? text.length
  const solid = text.slice(0, Math.max(end, after.key.range?.[1] ?? 0)).trimEnd().length
  const lineEnd = text.indexOf('\n', solid)
  const at = lineEnd < 0 ? text.length : lineEnd + 1
  const line = `${' '.repeat(indent)}${topMap(value, top) ? `${plainKey(key)}:\n${lines(value as { readonly [k: string]: FieldValue })}` : fresh}\n`
  return text.slice(0, at) + (lineEnd < 0 && text !== '' ? '\n' : '') + line + text.slice(at)
}

/** A map of maps (protections, consumables) begins as one line each. */
const topMap = (value: FieldValue, top: boolean): boolean => top && isTree(value) && Object.values(value).every((v) => isTree(v)) && Object.keys(value).length > 0
const lines = (value: { readonly [key: string]: FieldValue }): string =>
  Object.entries(value)
    .map(([k, v]) => `  ${plainKey(k)}: ${written(v, false)}`)
    .join('\n')

/** The last of the fields that stand before `key` in the usual order. */
function placeFor(map: YAMLMap, key: string): Pair | undefined {
  const rank = ORDER.indexOf(key)
  return map.items.filter((p) => isScalar(p.key) && ORDER.indexOf(String(p.key.value)) < rank).at(-1)
}

const plainKey = (key: string): string =>
  /^[a-z0-9_][a-zA-Z0-9_.-]*$/.test(key) && !/^[\d.-]+$/.test(key) && !/^(y|n|yes|no|on|off|true|false|null)$/i.test(key) ? key : JSON.stringify(key)

/** As it stands in the file: maps and lists on one line, text in quotes where it could be read as something else. */
function written(value: FieldValue, inFlow: boolean): string {
  if (typeof value === 'number' || typeof value === 'boolean') return String(value)
  if (typeof value === 'string') return plainText(value, inFlow) ? value : JSON.stringify(value)
  if (Array.isArray(value)) return `[${value.map((v: string | number) => written(v, true)).join(', ')}]`
  return `{ ${Object.entries(value)
    .map(([k, v]) => `${plainKey(k)}: ${written(v as FieldValue, true)}`)
    .join(', ')} }`
}

function plainText(s: string, inFlow: boolean): boolean {
  if (!/^[A-Za-z]/.test(s) && !/^\d+(ms|s|min|h|d)$/.test(s)) return false
  if (s !== s.trim() || /[\n\t\\"'`]|: |:$| #|\p{Cc}/u.test(s) || (inFlow && /[,[\]{}:#]/.test(s))) return false
  return !/^(y|n|yes|no|on|off|true|false|null|nan|inf)$/i.test(s)
}
