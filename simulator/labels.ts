/**
 * What really happened, for whoever judges alarms and reviews afterwards: one JSON object per line. Faults with onset, end, ramp and
 * size; the activity of every culture once per hour; the moments at which a loop counts as damaged, lost or recovered; and, with
 * instruments as they are in the field, every reading that was not what the water was. Bounds of health are common practice, no source:
 * activity is the fed uptake a culture is capable of against that before; damaged below 0.7, lost below 0.4, recovered above 0.8 for 48 h.
 */
import type { Fault } from './faults/fault.ts'
import type { Kind } from './faults/kind.ts'
import { KINDS } from './faults/kinds.ts'
import { activity } from './process/balance.ts'
import { type Plant } from './process/state.ts'
import type { Artefact } from './wear.ts'

export interface Labels {
  faults(list: readonly Fault[]): void
  artefact(site: string, a: Artefact): void
  /** Call at least once a minute of plant time. */
  look(p: Plant): void
}

type Health = 'sound' | 'damaged' | 'lost'
const HOUR = 3_600_000
const RECOVERED_AFTER_MS = 48 * HOUR
/** Artefacts of one kind on one signal closer than this are one stretch. */
const STRETCH_MS = 10 * 60_000

export function labels(write: (line: string) => void): Labels {
  const state = new Map<string, { health: Health; hour: number; soundSinceMs: number | null }>()
  const artefacts = new Map<string, number>()
  const put = (o: object): void => write(JSON.stringify(o))
  return {
    faults(list) {
      for (const f of list) {
        const kind: Kind = KINDS[f.kind]
        const { scenario, variant, cause, what } = kind
        put({
          label: 'fault',
          site: f.site,
          id: f.id,
          kind: f.kind,
          scenario,
          variant,
          cause,
          what,
          onsetMs: f.onsetMs,
          endMs: f.endMs,
          size: f.size ?? 1,
          rampMs: f.rampMs ?? 0,
          at: f.at ?? null,
        })
      }
    },
    artefact(site, a) {
      const key = `${site} ${a.signal} ${a.what}`
      const before = artefacts.get(key)
      artefacts.set(key, a.atMs)
      // The first reading of a stretch is told; the rest of it follows from the kind.
      if (before === undefined || a.atMs - before > STRETCH_MS) put({ label: 'reading', site, signal: a.signal, what: a.what, t: a.atMs })
    },
    look(p) {
      const site = p.spec.site.id
      const s = state.get(site) ?? { health: 'sound' as Health, hour: Number.NaN, soundSinceMs: null }
      state.set(site, s)
      const a = activity(p)
      const hour = Math.floor(p.nowMs / HOUR)
      if (hour !== s.hour) {
        s.hour = hour
        put({
          label: 'activity',
          site,
          t: p.nowMs,
          a: round(a),
          tanks: Object.fromEntries(p.water.bio.map((t) => [t.id, { a: round(activity(p, t.id)), oxygen: round(t.oxygen), uptake: round(t.uptake), ph: round(t.ph) }])),
        })
      }
      const health: Health = a < 0.4 ? 'lost' : a < 0.7 ? 'damaged' : s.health
      if (health !== s.health && !(s.health === 'lost' && health === 'damaged')) {
        s.health = health
        s.soundSinceMs = null
        put({ label: health, site, t: p.nowMs, a: round(a) })
      }
      if (s.health !== 'sound') {
        s.soundSinceMs = a > 0.8 ? (s.soundSinceMs ?? p.nowMs) : null
        if (s.soundSinceMs !== null && p.nowMs - s.soundSinceMs >= RECOVERED_AFTER_MS) {
          s.health = 'sound'
          put({ label: 'recovered', site, t: p.nowMs, a: round(a) })
        }
      }
    },
  }
}

const round = (v: number): number => Math.round(v * 1000) / 1000
