/**
 * A reading as one line of line protocol, and back: the schema of the record in InfluxDB, the same for 1.x and 2.x.
 *
 *   reading,signal=<signal>,site=<site> v=<figure>,tr=<received ms>[,vb=,bad=1,q=,sub=,qc=] <source ms>
 *
 * measurement  `reading`, one for all: signals are told apart by tags, so that a new signal needs no new schema.
 * tags         site, signal, and nothing else. They are what a reading is of; both are bounded and never change. What may differ
 *              between two sendings of one reading (quality, times, numbers of messages) is no tag: it would make two points of one.
 * v            the figure of a reading that is good or uncertain. A mean over `v` is therefore right without knowing about quality.
 * vb           the figure of a bad reading, in a field of its own so that it never ends up in a mean by accident.
 * bad          1 where a reading is bad or has no figure: counting it counts them.
 * q            1 uncertain, 2 bad; absent: good. sub: the reason, its place in quality-code.ts; absent: ok. qc: QARTOD flag; absent: 1.
 *              Absent rather than written: each field is a series of its own in the store, and these would be constant in most.
 * tr           when the reading was received, ms since 1970; always there, so that counting it counts readings.
 *
 * Every field is a float (a first whole number would otherwise fix the type), times are ms and say so in the request. The same
 * reading sent twice is the same point. Times after April 2262 do not fit in the store's 64 bits of ns and are not sent.
 * Names are escaped so that any text comes back: `%` and two or four hex digits stand for `%`, the backslash and control characters,
 * which line protocol cannot carry, and `%` alone for the empty name, which a tag cannot be. [UNI-20 to UNI-26]
 */
import { keyOf, signalOfKey, siteOfKey } from '../site/reading.ts'
import { BAD, CODES, qcOf, qualityOf, rankOf, subOf } from './quality-code.ts'

export const MEASUREMENT = 'reading'
/** The last whole ms the store can hold: 2^63 ns less a little. */
export const LATEST_RECORD_MS = 9_223_372_036_854

/** A name as a tag value, before the escapes of line protocol or a query. */
export function tagOf(name: string): string {
  if (name === '') return '%'
  return name.replace(/[^ -$&-[\]-~\u00a0-\ud7ff\ue000-\uffff\u{10000}-\u{10ffff}]/gu, (c) => {
    const code = c.charCodeAt(0)
    return code < 256 ? `%${code.toString(16).toUpperCase().padStart(2, '0')}` : `%u${code.toString(16).toUpperCase().padStart(4, '0')}`
  })
}

export function nameOfTag(tag: string): string {
  if (tag === '%') return ''
  return tag.replace(/%u([0-9A-F]{4})|%([0-9A-F]{2})/g, (_, long: string | undefined, short: string | undefined) => String.fromCharCode(Number.parseInt(long ?? short ?? '', 16)))
}

export const keyOfTags = (site: string, signal: string): string => keyOf(nameOfTag(site), nameOfTag(signal))

/** What stands before the fields in every line of a key. */
export function lineStart(key: string): string {
  const escaped = (name: string): string => tagOf(name).replace(/[,= ]/g, '\\$&')
  return `${MEASUREMENT},signal=${escaped(signalOfKey(key))},site=${escaped(siteOfKey(key))} `
}

/** What stands between the figure and the received time, by code: quality, reason and flag where they say something. */
const said: readonly string[] = Array.from({ length: CODES }, (_, code) => {
  const rank = rankOf(code)
  // The reason's place in its list is the code without quality and flag.
  const sub = ((code % BAD) % (BAD / 2)) >> 3
  const qc = qcOf(code)
  return `${rank > 0 ? `q=${rank},` : ''}${sub > 0 ? `sub=${sub},` : ''}${qc !== 1 ? `qc=${qc},` : ''}`
})

/** One line with its line feed. `value` NaN: without a figure. `start` is of lineStart. */
export function lineOf(start: string, sourceMs: number, receivedMs: number, value: number, code: number): string {
  const bare = value !== value
  // `${-0}` is "0", and every double is to come back as it went.
  const figure = value === 0 && Object.is(value, -0) ? '-0' : `${value}`
  const fields = bare ? 'bad=1,' : code >= BAD ? `vb=${figure},bad=1,` : `v=${figure},`
  return `${start}${fields}${said[code] ?? ''}tr=${receivedMs} ${sourceMs}\n`
}

/** Quality, reason and flag from the fields of a point (null: absent). */
export function qualityOfFields(
  q: number | null,
  sub: number | null,
  qc: number | null,
): { quality: ReturnType<typeof qualityOf>; sub: ReturnType<typeof subOf>; qc: ReturnType<typeof qcOf> } {
  const code = (q ?? 0) * (BAD / 2) + (sub ?? 0) * 8
  const flag = qc === 2 || qc === 3 || qc === 4 || qc === 9 ? qc : 1
  return { quality: qualityOf(code), sub: subOf(code), qc: flag }
}
