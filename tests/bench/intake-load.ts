/** What the intake bench sends: one rich loop of 40 signals, its readings one a message or 40 a message. */
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'

export const SITE = 'kestrow-berth-3'
export const SIGNALS: readonly string[] = Array.from({ length: 40 }, (_, i) => `probe-${i + 1}.do`)

export const siteText = `id: ${SITE}\nname: Kestrow berth 3\nzone: Europe/Lisbon\nreportEvery: 10s\ntrain: [{ stage: treatment }]\nsignals:\n${SIGNALS.map((s) => `  ${s}:\n`).join('')}`

export function loop(): Site {
  const read = readSiteFile('bench.yaml', siteText)
  if (!read.ok) throw new Error(JSON.stringify(read.faults))
  return read.site
}

/** About 50 bytes. */
export const single = (t: number, i: number): string => `{"v":${(5 + (i % 97) / 50).toFixed(2)},"t":${t},"q":"good","seq":${i}}`

/** About 800 bytes. */
export const batchOf = (t: number, i: number): string => `{"t":${t},"signals":{${SIGNALS.map((s, k) => `"${s}":${(5 + ((i + k) % 97) / 50).toFixed(2)}`).join(',')}}}`
