/**
 * How a controller tells: one message per sample, a block of rows now and then, or only what changed with a full report as
 * heartbeat (relay panels). A pure little machine: samples go in, payloads come out.
 *
 *   {"t":ms,"signals":{"tu.do":6.1,...}}                 one sample, or what changed
 *   {"names":["tu.do",...],"rows":[[ms,6.1,...],...]}    a block
 *
 * An instrument that gives no figure is told as null.
 *
 * A controller whose clock is wrong, writes no zone or has none at all (plant.troubles) stamps accordingly.
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

/** Time as the controller writes it, as JSON; null: it has none. */
function stampOf(zone: string, atMs: number, p: Plant): string | null {
  const ms = atMs + p.troubles.clockMs
  return p.troubles.stamps === 'none' ? null : p.troubles.stamps === 'zoneless' ? JSON.stringify(wallText(zone, ms)) : String(ms)
}

const row = (stamp: string | null, parts: readonly string[]): string => `{${stamp === null ? '' : `"t":${stamp},`}"signals":{${parts.join(',')}}}`

const walls = new Map<string, Intl.DateTimeFormat>()
/** `2026-11-25T14:03:20` on the wall of a zone. */
export function wallText(zone: string, atMs: number): string {
  let f = walls.get(zone)
  if (!f) {
    f = new Intl.DateTimeFormat('sv-SE', { timeZone: zone, dateStyle: 'short', timeStyle: 'medium' })
    walls.set(zone, f)
  }
  return f.format(atMs).replace(' ', 'T')
}

export function reporter(site: Site, list: readonly Instrument[]): Reporter {
  const names = list.map((i) => i.signal.id)
  const quoted = names.map((n) => `${JSON.stringify(n)}:`)
  const sampleMs = Math.min(...site.signals.map((s) => s.sampleEveryMs))
  const reportMs = Math.min(...site.signals.map((s) => s.reportEveryMs))
  const onChange = site.instrumentation === 'poor'
  const usual = onChange ? 1 : Math.max(1, Math.round(reportMs / sampleMs))
  const most = Math.max(1, Math.floor(MAX_READINGS / Math.max(1, names.length)))
  let rows = usual
  let filling = false
  let held: string[] = []
  const sent: (number | null | undefined)[] = []
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
      const values = list.map((i) => i.read(plant, atMs))
      const stamp = stampOf(site.zone, atMs, plant)
      if (onChange) {
        const full = atMs - fullAtMs >= reportMs
        const parts: string[] = []
        values.forEach((v, i) => {
          const before = sent[i]
          const dead = list[i]?.signal.quantity === 'temperature' ? PANEL_DEADBAND : 0
          if (full || before === undefined || (v === null) !== (before === null) || Math.abs((v ?? 0) - (before ?? 0)) > dead) {
            parts.push(`${quoted[i]}${v}`)
            sent[i] = v
          }
        })
        if (full) fullAtMs = atMs
        if (parts.length === 0) return
        const one = row(stamp, parts)
        if (!filling) return send(one)
        held.push(one)
      } else if (rows === 1) {
        const parts: string[] = []
        values.forEach((v, i) => parts.push(`${quoted[i]}${v}`))
        return send(row(stamp, parts))
      } else held.push(`[${stamp ?? 'null'},${values.map((v) => String(v)).join(',')}]`)
      if (held.length >= rows) flush(send)
    },
    flush,
    block(n) {
      filling = n !== null
      rows = n === null ? usual : Math.max(1, Math.min(n, most))
    },
  }
}
