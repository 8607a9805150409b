/**
 * How a controller tells: one message per sample, a block of rows now and then, or only what changed with a full report as
 * heartbeat (relay panels). A pure little machine: samples go in, payloads come out.
 *
 *   {"t":ms,"signals":{"tu.do":6.1,...}}                 one sample, or what changed
 *   {"names":["tu.do",...],"rows":[[ms,6.1,...],...]}    a block
 */
import type { Site } from '../gateway/site/site.ts'
import type { Instrument } from './instruments.ts'
import type { Plant } from './process/state.ts'

export interface Reporter {
  sample(atMs: number, plant: Plant, send: (payload: string) => void): void
  flush(send: (payload: string) => void): void
  block(rows: number | null): void
}

/** Smallest change a relay panel bothers to send of a measured value, in its unit. */
const PANEL_DEADBAND = 0.5
/** A message stays well under the sizes brokers and readers take. */
const MAX_READINGS = 3000

export function reporter(site: Site, list: readonly Instrument[]): Reporter {
  const names = list.map((i) => i.signal.id)
  const sampleMs = Math.min(...site.signals.map((s) => s.sampleEveryMs))
  const reportMs = Math.min(...site.signals.map((s) => s.reportEveryMs))
  const onChange = site.instrumentation === 'poor'
  const usual = onChange ? 1 : Math.max(1, Math.round(reportMs / sampleMs))
  const most = Math.max(1, Math.floor(MAX_READINGS / Math.max(1, names.length)))
  let rows = usual
  let filling = false
  let held: string[] = []
  const sent: (number | null)[] = names.map(() => null)
  let fullAtMs = Number.NEGATIVE_INFINITY

  const flush = (send: (payload: string) => void): void => {
    if (held.length === 0) return
    const body = held.join(',')
    send(onChange ? `{"rows":[${body}]}` : `{"names":${JSON.stringify(names)},"rows":[${body}]}`)
    held = []
  }

  return {
    sample(atMs, plant, send) {
      // A controller without power and battery writes nothing but its last word.
      const values = list.map((i) => i.read(plant))
      if (onChange) {
        const full = atMs - fullAtMs >= reportMs
        const parts: string[] = []
        values.forEach((v, i) => {
          const before = sent[i] ?? null
          const dead = list[i]?.signal.quantity === 'temperature' ? PANEL_DEADBAND : 0
          if (v !== null && (full || before === null || Math.abs(v - before) > dead)) {
            parts.push(`${JSON.stringify(names[i])}:${v}`)
            sent[i] = v
          }
        })
        if (full) fullAtMs = atMs
        if (parts.length === 0) return
        const one = `{"t":${atMs},"signals":{${parts.join(',')}}}`
        if (!filling) return send(one)
        held.push(one)
      } else if (rows === 1) {
        const parts: string[] = []
        values.forEach((v, i) => {
          if (v !== null) parts.push(`${JSON.stringify(names[i])}:${v}`)
        })
        return send(`{"t":${atMs},"signals":{${parts.join(',')}}}`)
      } else held.push(`[${atMs},${values.map((v) => (v === null ? 'null' : String(v))).join(',')}]`)
      if (held.length >= rows) flush(send)
    },
    flush,
    block(n) {
      filling = n !== null
      rows = n === null ? usual : Math.max(1, Math.min(n, most))
    },
  }
}
