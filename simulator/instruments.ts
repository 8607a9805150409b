/**
 * What a controller sees of the truth: each signal of the site file finds its place in the plant by its id, and comes out late
 * (lag), rough (noise), rounded (resolution) and, when a fault says so, drifted or frozen. Lags and noise are common practice, no source.
 */
import type { Signal, Site } from '../gateway/site/site.ts'
import { hashText, normal, type Prng, prng } from './random.ts'
import { type Plant } from './process/state.ts'
import { truthOf } from './truth.ts'

export interface Instrument {
  readonly signal: Signal
  /** Lets the lagged value follow for `dtS`. */
  follow(p: Plant, dtS: number): void
  /** What the controller would write down now, in the signal's unit; null: this plant has no such thing. */
  read(p: Plant): number | null
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

/** One instrument per signal of the site. */
export const instruments = (site: Site, p: Plant): readonly Instrument[] => site.signals.map((s) => instrument(site, s, p))

function instrument(site: Site, signal: Signal, p: Plant): Instrument {
  const truth = truthOf(site, signal)
  if (!truth) return { signal, follow: () => undefined, read: () => null }
  const counts = signal.quantity === 'hours' || signal.quantity === 'starts' || signal.quantity === 'pulses' || signal.quantity === 'volume' || signal.quantity === 'uptime'
  const manner = MANNERS[signal.quantity] ?? STEADY
  const next: Prng = prng(p.seed ^ hashText(site.id), `probe ${signal.id}`)
  const exact = manner === STEADY
  let shown = Number.NaN
  let held = Number.NaN
  return {
    signal,
    follow(plant, dtS) {
      if (manner.lagS <= 0) return
      const v = truth(plant)
      // A stopped machine reads nothing at once: its instrument is quicker than a step.
      shown = Number.isNaN(shown) || (v === 0 && manner.lagS < dtS) ? v : shown + (v - shown) * (1 - Math.exp(-dtS / manner.lagS))
    },
    read(plant) {
      const v = manner.lagS > 0 && !Number.isNaN(shown) ? shown : truth(plant)
      if (counts) return onGrid(Math.floor(v / signal.resolution + 1e-9) * signal.resolution, signal.resolution)
      if (exact) return onGrid(v, signal.resolution)
      const fault = plant.troubles.probes.get(signal.id)
      // A machine at rest reads zero, not noise about zero.
      const rough = v === 0 ? 0 : v + normal(next) * (manner.sd + manner.share * Math.abs(v))
      let value = (signal.quantity === 'ph' ? 7 + (rough - 7) * (fault?.gain ?? 1) : rough * (fault?.gain ?? 1)) + (fault?.offset ?? 0)
      if (fault?.frozen) value = held = Number.isNaN(held) ? value : held
      else held = Number.NaN
      const [low, high] = signal.range
      return onGrid(Math.min(high, Math.max(low, Math.round(value / signal.resolution) * signal.resolution)), signal.resolution)
    },
  }
}

/** A multiple of the resolution without binary dust. */
const onGrid = (v: number, resolution: number): number => Number(v.toFixed(Math.max(0, Math.min(6, Math.ceil(-Math.log10(resolution) - 1e-9))))) + 0
