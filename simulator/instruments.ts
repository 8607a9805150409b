/**
 * What a controller sees of the truth: each signal of the site file finds its place in the plant by its id, and comes out late
 * (lag), rough (noise), rounded (resolution), worn by the days since the last service when asked (wear.ts) and, when a fault says so, drifted,
 * frozen or silent. Lags and noise are common practice, no source.
 */
import type { Signal, Site } from '../gateway/site/site.ts'
import { hashText, normal, type Prng, prng } from './random.ts'
import { type Plant } from './process/state.ts'
import { truthOf } from './truth.ts'
import { type Artefact, type Film, film, mishaps, referenceOf, wiped } from './wear.ts'

export interface Instrument {
  readonly signal: Signal
  /** Lets the lagged value follow for `dtS`. */
  follow(p: Plant, dtS: number): void
  /** What the controller would write down at `atMs` (now, if not said), in the signal's unit; null: no figure. */
  read(p: Plant, atMs?: number): number | null
}

interface Manner {
  /** Noise, standard deviation: absolute, and as a share of the value. */
  readonly sd: number
  readonly share: number
  readonly lagS: number
}

const STEADY: Manner = { sd: 0, share: 0, lagS: 0 }
const MANNERS: Readonly<Partial<Record<Signal['quantity'], Manner>>> = {
  do: { sd: 0.025, share: 0.002, lagS: 45 },
  temperature: { sd: 0.04, share: 0, lagS: 90 },
  ph: { sd: 0.008, share: 0, lagS: 25 },
  orp: { sd: 1.2, share: 0, lagS: 0 },
  level: { sd: 0.15, share: 0, lagS: 8 },
  flow: { sd: 0.05, share: 0.006, lagS: 4 },
  pressure: { sd: 0.6, share: 0.004, lagS: 2 },
  current: { sd: 0.02, share: 0.008, lagS: 2 },
  voltage: { sd: 0.4, share: 0, lagS: 0 },
  conductivity: { sd: 1, share: 0.003, lagS: 30 },
  turbidity: { sd: 0.2, share: 0.04, lagS: 20 },
  ozone: { sd: 0.002, share: 0, lagS: 30 },
  h2s: { sd: 0.03, share: 0.02, lagS: 40 },
  strength: { sd: 0.8, share: 0, lagS: 0 },
  rain: { sd: 0, share: 0.03, lagS: 0 },
}

/** `wear`: as they are in the field, and every reading that is not what the water was is told. */
export interface Field {
  readonly tell: (a: Artefact) => void
}

/** One instrument per signal of the site; none for a signal this plant has no place for. */
export const instruments = (site: Site, p: Plant, field: Field | null = null): readonly Instrument[] => site.signals.flatMap((s) => instrument(site, s, p, field) ?? [])

/** Readings of a probe that hangs in air or in a buffer. */
const IN_AIR: Readonly<Partial<Record<Signal['quantity'], (p: Plant, tank: string) => number>>> = {
  do: (p, id) => p.tanks.find((t) => t.id === id)?.saturated ?? 9,
  ph: () => 7,
  orp: () => 220,
  temperature: (p) => p.flows.airC,
}

function instrument(site: Site, signal: Signal, p: Plant, field: Field | null): Instrument | null {
  const truth = truthOf(site, signal)
  if (!truth) return null
  const counts = signal.quantity === 'hours' || signal.quantity === 'starts' || signal.quantity === 'pulses' || signal.quantity === 'volume' || signal.quantity === 'uptime'
  const manner = MANNERS[signal.quantity] ?? STEADY
  const seed = p.seed ^ hashText(site.id)
  const next: Prng = prng(seed, `probe ${signal.id}`)
  const exact = manner === STEADY
  const optical = p.probeTypes.get(signal.id) === 'optical'
  const inAir = IN_AIR[signal.quantity]
  const mishap = mishaps(signal, seed, optical)
  const reference = referenceOf(signal, seed)
  const grid = gridOf(signal.resolution)
  const worn: Film = { offset: 0, gain: 1, lagS: 0 }
  let shown = Number.NaN
  let held = Number.NaN
  let last: number | null = null

  const readExact = (v: number): number => grid(counts ? Math.floor(v / signal.resolution + 1e-9) * signal.resolution : v)

  function readProbe(plant: Plant, v: number, atMs: number): number | null {
    const fault = plant.troubles.probes.get(signal.id)
    const noise = normal(next)
    const befalls = field && mishap(atMs)
    if (befalls) field.tell({ signal: signal.id, what: befalls, atMs })
    if (fault?.lost || befalls === 'dropout') return null
    // A machine at rest reads zero, not noise about zero.
    let value = v === 0 || fault?.still ? v : v + noise * (manner.sd + manner.share * Math.abs(v))
    if (inAir && signal.at !== null && plant.troubles.inAir.has(signal.at)) {
      field?.tell({ signal: signal.id, what: 'in-air', atMs })
      value = inAir(plant, signal.at) + noise * manner.sd
    }
    if (field) value = bent(value, worn.gain, worn.offset)
    if (fault) value = bent(value, fault.gain ?? 1, fault.offset ?? 0)
    if (befalls === 'wiper') value += wiped(signal, seed, atMs)
    if (fault?.frozen || befalls === 'stuck') value = held = Number.isNaN(held) ? value : held
    else held = Number.NaN
    const [low, high] = signal.range
    return grid(Math.min(high, Math.max(low, Math.round(value / signal.resolution) * signal.resolution)))
  }

  /** A pH electrode errs about its zero point at 7, the others about zero. */
  const bent = (v: number, gain: number, offset: number): number => (signal.quantity === 'ph' ? 7 + (v - 7) * gain : v * gain) + offset

  return {
    signal,
    follow(plant, dtS) {
      if (manner.lagS <= 0) return
      const v = truth(plant)
      if (field) film(worn, signal, plant, reference)
      const lagS = manner.lagS + worn.lagS + (plant.troubles.probes.get(signal.id)?.lagS ?? 0)
      // A stopped machine reads nothing at once: its instrument is quicker than a step.
      shown = Number.isNaN(shown) || (v === 0 && lagS < dtS) ? v : shown + (v - shown) * (1 - Math.exp(-dtS / lagS))
    },
    read(plant, atMs = plant.nowMs) {
      // A program that stands still goes on showing what it last took in.
      if (plant.troubles.panelFrozen && last !== null) return last
      const v = manner.lagS > 0 && !Number.isNaN(shown) ? shown : truth(plant)
      return (last = exact || counts ? readExact(v) : readProbe(plant, v, atMs))
    },
  }
}

/** A multiple of the resolution without binary dust. */
function gridOf(resolution: number): (v: number) => number {
  const scale = 10 ** Math.max(0, Math.min(6, Math.ceil(-Math.log10(resolution) - 1e-9)))
  return (v) => Math.round(v * scale) / scale + 0
}
