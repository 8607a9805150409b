/**
 * Readings from a message that is not in our form, as the site file maps it (site/foreign.ts). What stands at no mapped place is
 * ignored, and a mapped place that is not in the message says nothing: controllers that report on change leave out what stood still.
 * A message in which no mapped place is found is refused, because then the mapping or the controller is wrong.
 */
import type { ForeignPath, ForeignSignal, ForeignTopic, Plain } from '../site/foreign.ts'
import type { Quality } from '../site/reading.ts'
import type { SiteClock } from '../site/site.ts'
import type { WallTime } from './payload-time.ts'
import { unmappedFields, type UnmappedField } from './mapping-fields.ts'
import { isObject, kind, NUMBER, parse, raw, readText, timeOf, type BadReading, type PayloadLimits, type PayloadResult, type RawReading } from './payload.ts'
import { reject, shown, type RejectCode } from './reject-codes.ts'

/** `unmapped`: figures at places that no mapping names. */
export type MappedResult = PayloadResult & { readonly unmapped?: readonly UnmappedField[] }

/** Readings of one message on a mapped topic. */
export function readMapped(topic: ForeignTopic, bytes: Uint8Array, limits: PayloadLimits, naive: SiteClock['naive']): MappedResult {
  const text = readText(bytes, limits)
  if (typeof text !== 'string') return text
  const json = parse(text)
  // A bare word, ON, is no JSON: it counts where the payload itself is mapped by words.
  const isWord = 'ok' in json && topic.signals.some((s) => s.path.steps.length === 0 && Object.hasOwn(s.words, text))
  if ('ok' in json && !isWord) return json
  const root: unknown = 'ok' in json ? text : json.value
  const list = topic.rows ? at(topic.rows, root, root) : [root]
  if (!Array.isArray(list)) return reject('SHAPE', `${list === undefined ? 'nothing' : kind(list)} found at "${written(topic.rows)}", where the list of rows should be`)
  if (list.length * topic.signals.length > limits.maxReadings * 20) return reject('TOO_MANY', `${list.length} rows of ${topic.signals.length} mapped signals`)

  const readings: RawReading[] = []
  const bad: BadReading[] = []
  let found = 0
  for (const row of list as readonly unknown[]) {
    const t = topic.time ? timeIn(topic.time, row, root, naive) : null
    const quality = topic.quality ? qualityIn(topic.quality, row, root) : null
    for (const s of topic.signals) {
      if (s.when && at(s.when.path, row, root) !== s.when.is) continue
      const v = at(s.path, row, root)
      if (v === undefined) continue
      if (++found > limits.maxReadings) return reject('TOO_MANY', `more than ${limits.maxReadings} readings in one message`)
      if (typeof t === 'string') bad.push({ signal: s.signal, code: 'TIME', detail: t })
      else if (t === null && list.length > 1) bad.push({ signal: s.signal, code: 'TIME', detail: 'a row without a time among several rows' })
      else readValue(s, v, row, root, quality, t, readings, bad)
    }
  }
  const unmapped = unmappedFields(topic, list, root)
  if (found === 0 && list.length > 0)
    return { ...reject('SHAPE', `none of the ${topic.signals.length} mapped places is in the message: compare "foreign" in the site file with what is sent`), unmapped }
  return { ok: true, readings, bad, unmapped }
}

function readValue(
  s: ForeignSignal,
  v: unknown,
  row: unknown,
  root: unknown,
  quality: Quality | null,
  t: number | WallTime | null,
  readings: RawReading[],
  bad: BadReading[],
): void {
  const fault = (code: RejectCode, detail: string): void => void bad.push({ signal: s.signal, code, detail: `${shown(s.signal)}: ${detail}` })
  const sent = figureOf(s, v)
  if (typeof sent === 'string') return fault(typeof v === 'object' && v !== null ? 'SHAPE' : 'NOT_A_NUMBER', sent)
  let unit = s.unit ?? undefined
  if (s.unitPath) {
    const u = at(s.unitPath, row, root)
    if (u !== undefined && u !== null && typeof u !== 'string') return fault('UNIT', `${kind(u)} found at "${written(s.unitPath)}", where the unit should be`)
    unit = u ?? undefined
  }
  if (sent === null) return void readings.push(raw(s.signal, null, quality, t))
  if (s.bit !== null) {
    // Signed words: two's complement, so the low bits are the same.
    const word = typeof sent === 'number' && sent < 0 ? sent + 4_294_967_296 : sent
    if (typeof word !== 'number' || !Number.isInteger(word) || word < 0 || word > 4_294_967_295)
      return fault('NOT_A_NUMBER', `bit ${s.bit} is asked of ${typeof sent === 'number' ? 'a number that is no whole one of 32 bits' : kind(sent)}`)
    return void readings.push(raw(s.signal, Math.floor(word / 2 ** s.bit) % 2, quality, t))
  }
  if (typeof sent === 'boolean') return void readings.push(raw(s.signal, sent, quality, t))
  // 843 tenths are 84.3, not 84.30000000000001.
  const value = s.scale === 1 && s.offset === 0 ? sent : Number((sent * s.scale + s.offset).toPrecision(12))
  if (!Number.isFinite(value)) return fault('NOT_A_NUMBER', 'too large a number to hold')
  readings.push(raw(s.signal, value + 0, quality, t, unit))
}

/** The figure as sent, before scale and unit; text: what is wrong. */
function figureOf(s: ForeignSignal, v: unknown): number | boolean | null | string {
  if (v === null || typeof v === 'boolean') return v
  if (typeof v === 'number') return !Number.isFinite(v) ? 'too large a number to hold' : s.missing.includes(v) ? null : v
  if (typeof v !== 'string') return `${kind(v)} found where a figure should be`
  const text = v.trim()
  if (Object.hasOwn(s.words, text)) return s.words[text] ?? null
  if (text === '') return null
  // Figures in quotes are common, and a decimal point is clear.
  if (!NUMBER.test(text)) return `${/^[+-]?\d+,\d+$/.test(text) ? 'a decimal comma' : `text of ${text.length} characters`} found where a figure should be`
  const n = Number(text)
  return Number.isFinite(n) ? (s.missing.includes(n) ? null : n) : 'too large a number to hold'
}

function timeIn(time: NonNullable<ForeignTopic['time']>, row: unknown, root: unknown, naive: SiteClock['naive']): number | WallTime | string | null {
  const v = at(time.path, row, root)
  // Quoted figures are common here as well.
  const n = typeof v === 'string' && /^\d{9,16}(\.\d+)?$/.test(v) ? Number(v) : v
  return typeof n === 'number' && time.in === 's' ? timeOf(n * 1000, naive) : timeOf(n, naive)
}

function qualityIn(quality: NonNullable<ForeignTopic['quality']>, row: unknown, root: unknown): Quality | null {
  const v = at(quality.path, row, root)
  if (v === undefined || v === null) return null
  if (quality.good.includes(v as Plain)) return 'good'
  return quality.uncertain.includes(v as Plain) ? 'uncertain' : 'bad'
}

/** What stands at `path`; undefined: nothing. */
function at(path: ForeignPath, row: unknown, root: unknown): unknown {
  let here: unknown = path.fromRoot ? root : row
  for (const step of path.steps) {
    if (Array.isArray(here)) here = /^\d{1,6}$/.test(step) ? (here as readonly unknown[])[Number(step)] : undefined
    else if (isObject(here) && Object.hasOwn(here, step)) here = here[step]
    else return undefined
  }
  return here
}

const written = (path: ForeignPath | null): string => (path ? `${path.fromRoot ? '/' : ''}${path.steps.join('.')}` : '')
