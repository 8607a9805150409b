/**
 * From the bytes of one message to raw readings. One bad value never takes its neighbours with it: what can be read is in
 * `readings`, what cannot is in `bad` with its reason, and only a message in which nothing can be told apart is refused whole.
 *
 *   signal topic   7.2 | true | null | {"v":7.2,"t":"2026-03-01T10:00:00Z","q":"good","u":"mg/L"}
 *   site topic     {"t":..., "signals":{"bio1.do":7.2,"bio1.ph":{"v":7.1,"q":"uncertain"}}}
 *                  {"rows":[{"t":...,"signals":{...}},...]}
 *                  {"names":["bio1.do","bio1.ph"],"rows":[[t,7.2,7.1],...]}
 *
 * `t` is RFC 3339 with a zone (without one where the site file says what that means), or ms since 1970 UTC; absent or null: the
 * sender has no clock. `u` (or `unit`) is a UCUM code; absent: the unit of the site file. Unknown members are ignored.
 * Checked by hand, not with a schema: this runs for every message, and a schema costs ten times the parsing.
 */
import type { Quality } from '../site/reading.ts'
import type { SiteClock } from '../site/site.ts'
import { readTime, type WallTime } from './payload-time.ts'
import { reject, shown, type Reject, type RejectCode } from './reject-codes.ts'

export interface PayloadLimits {
  readonly maxBytes: number
  readonly maxReadings: number
}

export const PAYLOAD_LIMITS: PayloadLimits = { maxBytes: 262_144, maxReadings: 5_000 }

export interface RawReading {
  readonly signal: string
  /** Finite; a boolean stays one until the signal is known to be a state. null: the instrument gives no figure. */
  readonly value: number | boolean | null
  /** What the sender says of it; null: nothing. */
  readonly quality: Quality | null
  /** As sent, ms since 1970 UTC, whether plausible or not; null: no time. */
  readonly sentMs: number | null
  /** `sentMs` is a wall clock read as if it were UTC; payload-wall.ts places it. */
  readonly wall?: true
  /** UCUM code the sender gives; absent: nothing said. */
  readonly unit?: string
}

/** A reading that cannot be used. `signal` is empty when a whole row cannot be read. */
export interface BadReading {
  readonly signal: string
  readonly code: RejectCode
  readonly detail: string
}

export type PayloadResult = { readonly ok: true; readonly readings: readonly RawReading[]; readonly bad: readonly BadReading[] } | Reject

const utf8 = new TextDecoder('utf-8', { fatal: true })
export const NUMBER = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$/

/** Readings of one message; `signal` is the one its topic names, null on the site topic. */
export function readPayload(signal: string | null, bytes: Uint8Array, limits: PayloadLimits = PAYLOAD_LIMITS, naive: SiteClock['naive'] = 'refused'): PayloadResult {
  const text = readText(bytes, limits)
  if (typeof text !== 'string') return text
  if (signal !== null && text.charCodeAt(0) !== OPENING_BRACE) return readBare(signal, text)
  const json = parse(text)
  if ('ok' in json) return json
  if (!isObject(json.value)) return reject('SHAPE', `${kind(json.value)} found where an object {...} is needed`)
  const found: Found = { readings: [], bad: [], left: limits.maxReadings, most: limits.maxReadings, naive }
  const fault = signal !== null ? readSignal(signal, json.value, found) : readSite(json.value, found)
  return fault ?? { ok: true, readings: found.readings, bad: found.bad }
}

/** The text of a message, without spaces around it. */
export function readText(bytes: Uint8Array, limits: PayloadLimits): string | Reject {
  if (bytes.length > limits.maxBytes) return reject('TOO_LARGE', `${bytes.length} bytes, at most ${limits.maxBytes}`)
  let text: string
  try {
    text = utf8.decode(bytes).trim()
  } catch {
    return reject('NOT_UTF8', `${bytes.length} bytes that are not UTF-8`)
  }
  return text === '' ? reject('EMPTY', bytes.length === 0 ? 'no bytes' : 'nothing but spaces') : text
}

interface Found {
  readonly readings: RawReading[]
  readonly bad: BadReading[]
  left: number
  readonly most: number
  readonly naive: SiteClock['naive']
}

type Members = Readonly<Record<string, unknown>>

const OPENING_BRACE = 123
export const isObject = (v: unknown): v is Members => typeof v === 'object' && v !== null && !Array.isArray(v)
export const kind = (v: unknown): string =>
  v === null ? 'null' : Array.isArray(v) ? 'a list' : typeof v === 'string' ? `text of ${v.length} characters` : typeof v === 'object' ? 'an object' : `a ${typeof v}`

function readBare(signal: string, text: string): PayloadResult {
  const value = text === 'true' ? true : text === 'false' ? false : text === 'null' ? null : NUMBER.test(text) ? Number(text) + 0 : undefined
  if (value === undefined) {
    if (text.startsWith('[')) return reject('SHAPE', 'a list found on a signal topic: send rows to the site topic')
    return reject('NOT_A_NUMBER', /^[+-]?\d+,\d+$/.test(text) ? 'a decimal comma: write a point' : `text of ${text.length} characters found where a number is needed`)
  }
  if (typeof value === 'number' && !Number.isFinite(value)) return reject('NOT_A_NUMBER', 'a number too large to hold')
  return { ok: true, readings: [{ signal, value, quality: null, sentMs: null }], bad: [] }
}

/** Bare NaN and Infinity are no JSON, yet some controllers write them; as text they are refused one by one, not with the whole message. */
export function parse(text: string): { readonly value: unknown } | Reject {
  try {
    return { value: JSON.parse(text) as unknown }
  } catch (e) {
    if (/NaN|Infinity/.test(text)) {
      try {
        return { value: JSON.parse(text.replace(/"(?:[^"\\]|\\.)*"|-?\b(?:NaN|Infinity)\b/g, (token) => (token.startsWith('"') ? token : '"NaN"'))) as unknown }
      } catch {
        // Falls through to the first error: it is about the text as sent.
      }
    }
    // The engine's own message repeats part of the text, so only its position is used.
    const at = /position (\d+)/.exec(e instanceof Error ? e.message : '')?.[1]
    return reject('NOT_JSON', at === undefined ? 'not readable as JSON, it may be cut off' : `not readable as JSON near character ${at} of ${text.length}`)
  }
}

function readSignal(signal: string, o: Members, found: Found): Reject | null {
  if (!Object.hasOwn(o, 'v')) return reject('SHAPE', 'an object without "v": send {"v":7.2}')
  const t = timeOf(o.t, found.naive)
  if (typeof t === 'string') return reject('TIME', t)
  readValue(signal, o, t, found)
  const bad = found.bad[0]
  return bad ? reject(bad.code, bad.detail) : null
}

function readSite(o: Members, found: Found): Reject | null {
  const rows = o.rows
  if (rows === undefined) {
    if (!isObject(o.signals))
      return reject('SHAPE', o.signals === undefined ? 'neither "signals" nor "rows" found' : `"signals" is ${kind(o.signals)}: an object of names and values is needed`)
    return readRow(o, o.signals, false, found)
  }
  if (o.signals !== undefined) return reject('SHAPE', 'both "signals" and "rows" found: use one of them')
  if (!Array.isArray(rows)) return reject('SHAPE', `"rows" is ${kind(rows)}: a list is needed`)
  const names = o.names === undefined ? null : readNames(o.names)
  if (names && 'ok' in names) return names
  const several = rows.length > 1
  for (let i = 0; i < rows.length; i++) {
    const row: unknown = rows[i]
    let fault: Reject | null
    if (Array.isArray(row)) fault = names ? readListRow(row, names.list, several, found, i) : reject('SHAPE', 'rows are lists, but "names" is missing')
    else if (isObject(row) && isObject(row.signals)) fault = readRow(row, row.signals, several, found)
    else fault = refuse(found, '', 'SHAPE', `row ${i + 1} of ${rows.length} is ${kind(row)}${isObject(row) ? ' without "signals"' : ''}`)
    if (fault) return fault
  }
  return null
}

function readNames(names: unknown): { readonly list: readonly string[] } | Reject {
  if (!Array.isArray(names) || !names.every((n): n is string => typeof n === 'string')) return reject('SHAPE', '"names" is no list of signal names')
  if (new Set(names).size !== names.length) return reject('SHAPE', 'a signal stands twice in "names"')
  return { list: names }
}

function readRow(row: Members, signals: Members, several: boolean, found: Found): Reject | null {
  const t = rowTime(row.t, several, found.naive)
  for (const signal of Object.keys(signals)) {
    const full = take(found)
    if (full) return full
    if (typeof t === 'string') found.bad.push({ signal, code: 'TIME', detail: t })
    else readValue(signal, signals[signal], t, found)
  }
  return null
}

function readListRow(row: readonly unknown[], names: readonly string[], several: boolean, found: Found, index: number): Reject | null {
  if (row.length !== names.length + 1) return refuse(found, '', 'SHAPE', `row ${index + 1} has ${row.length} entries: a time and ${names.length} values are needed`)
  const t = rowTime(row[0], several, found.naive)
  for (let i = 0; i < names.length; i++) {
    const full = take(found)
    if (full) return full
    const signal = names[i] ?? ''
    if (typeof t === 'string') found.bad.push({ signal, code: 'TIME', detail: t })
    else readValue(signal, row[i + 1], t, found)
  }
  return null
}

function readValue(signal: string, v: unknown, t: number | WallTime | null, found: Found): void {
  if (!isObject(v)) return readPlain(signal, v, null, undefined, t, found)
  if (!Object.hasOwn(v, 'v')) return void found.bad.push({ signal, code: 'SHAPE', detail: `${shown(signal)} is an object without "v"` })
  const q = v.q ?? null
  if (q !== null && q !== 'good' && q !== 'uncertain' && q !== 'bad')
    return void found.bad.push({ signal, code: 'SHAPE', detail: `${shown(signal)} has a "q" of ${kind(q)}: good, uncertain or bad` })
  const unit = v.u ?? v.unit ?? undefined
  if (unit !== undefined && typeof unit !== 'string')
    return void found.bad.push({ signal, code: 'UNIT', detail: `${shown(signal)} has a unit of ${kind(unit)}: a UCUM code is needed` })
  const own = v.t === undefined ? t : timeOf(v.t, found.naive)
  if (typeof own === 'string') return void found.bad.push({ signal, code: 'TIME', detail: own })
  return readPlain(signal, v.v, q, unit, own, found)
}

function readPlain(signal: string, value: unknown, quality: Quality | null, unit: string | undefined, t: number | WallTime | null, found: Found): void {
  if (typeof value === 'number') {
    // 1e999 is JSON and reads as Infinity. Adding 0 turns -0 into 0, so that equal readings are the same.
    if (Number.isFinite(value)) found.readings.push(raw(signal, value + 0, quality, t, unit))
    else found.bad.push({ signal, code: 'NOT_A_NUMBER', detail: `${shown(signal)} is too large a number to hold` })
  } else if (typeof value === 'boolean' || value === null) found.readings.push(raw(signal, value, quality, t, unit))
  else found.bad.push({ signal, code: typeof value === 'string' ? 'NOT_A_NUMBER' : 'SHAPE', detail: `${shown(signal)} is ${kind(value)}: a number, true, false or null is needed` })
}

export function raw(signal: string, value: number | boolean | null, quality: Quality | null, t: number | WallTime | null, unit?: string): RawReading {
  const sentMs = typeof t === 'object' && t !== null ? t.wallMs : t
  const plain = { signal, value, quality, sentMs }
  if (sentMs === t && unit === undefined) return plain
  return { ...plain, ...(sentMs !== t && { wall: true }), ...(unit !== undefined && { unit }) }
}

/** Rows sent together need their own times: without them their order and spacing would be made up. */
function rowTime(t: unknown, several: boolean, naive: SiteClock['naive']): number | WallTime | string | null {
  const read = timeOf(t, naive)
  return read === null && several ? 'a row without "t" among several rows' : read
}

export function timeOf(t: unknown, naive: SiteClock['naive']): number | WallTime | string | null {
  if (t === undefined || t === null) return null
  if (typeof t === 'string') return readTime(t, naive)
  if (typeof t === 'number') return Number.isFinite(t) ? Math.floor(t) : 'a number too large to be a time'
  return `"t" is ${kind(t)}`
}

function take(found: Found): Reject | null {
  return found.left-- > 0 ? null : reject('TOO_MANY', `more than ${found.most} readings in one message`)
}

function refuse(found: Found, signal: string, code: RejectCode, detail: string): Reject | null {
  const full = take(found)
  if (!full) found.bad.push({ signal, code, detail })
  return full
}
