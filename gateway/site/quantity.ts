/**
 * What can be measured on a loop: one row per quantity, with its unit as a UCUM code, the figures shown after the
 * point, the widest range a sensor of this kind can report, and its resolution.
 *
 * Ranges of pH, dissolved oxygen and temperature: QARTOD starting thresholds. The rest: common practice, no source;
 * a site file overrides `range` and `resolution` per signal.
 */
export type QuantityKind = 'analogue' | 'state' | 'counter'

export interface QuantitySpec {
  /** The trade's word for it, lower case, as it stands in a sentence. */
  readonly word: string
  /** UCUM code; see units.ts for its display text. */
  readonly unit: string
  readonly kind: QuantityKind
  /** Figures after the point in lists. */
  readonly digits: number
  /** Lowest and highest value a working sensor can report, in `unit`. */
  readonly range: readonly [number, number]
  readonly resolution: number
  /** State signals: what 1 and 0 mean, in words. */
  readonly states?: readonly [zero: string, one: string]
}

const analogue = (word: string, unit: string, digits: number, range: readonly [number, number], resolution: number): QuantitySpec => ({
  word,
  unit,
  kind: 'analogue',
  digits,
  range,
  resolution,
})
const state = (word: string, zero: string, one: string): QuantitySpec => ({
  word,
  unit: '1',
  kind: 'state',
  digits: 0,
  range: [0, 1],
  resolution: 1,
  states: [zero, one],
})
const counter = (word: string, unit: string, digits: number): QuantitySpec => ({
  word,
  unit,
  kind: 'counter',
  digits,
  range: [0, 4_294_967_295],
  resolution: 10 ** -digits,
})

export const QUANTITIES = {
  do: analogue('oxygen', 'mg/L', 1, [0, 25], 0.1),
  temperature: analogue('temperature', 'Cel', 1, [-40, 120], 0.1),
  ph: analogue('pH', '[pH]', 1, [0, 14], 0.01),
  orp: analogue('redox potential', 'mV', 0, [-1500, 1500], 1),
  level: analogue('level', '%', 0, [0, 110], 1),
  flow: analogue('flow', 'L/min', 1, [0, 2000], 0.1),
  pressure: analogue('pressure', 'mbar', 0, [0, 400_000], 1),
  current: analogue('current', 'A', 1, [0, 200], 0.1),
  voltage: analogue('voltage', 'V', 0, [0, 700], 1),
  conductivity: analogue('conductivity', 'uS/cm', 0, [0, 20_000], 1),
  turbidity: analogue('turbidity', '[NTU]', 0, [0, 4000], 0.1),
  ozone: analogue('ozone in air', '[ppm]', 2, [0, 10], 0.01),
  h2s: analogue('hydrogen sulphide in air', '[ppm]', 1, [0, 200], 0.1),
  strength: analogue('radio signal', 'dB[mW]', 0, [-140, 0], 1),
  humidity: analogue('humidity', '%', 0, [0, 100], 1),
  rain: analogue('rain', 'mm/h', 1, [0, 500], 0.1),
  paper: analogue('paper left', 'm', 0, [0, 1000], 0.1),
  run: state('running', 'stopped', 'runs'),
  float: state('float', 'dry', 'wet'),
  trip: state('trip', 'healthy', 'tripped'),
  present: state('supply', 'absent', 'present'),
  auto: state('selector', 'hand or off', 'auto'),
  open: state('valve', 'shut', 'open'),
  end: state('end switch', 'not reached', 'reached'),
  hours: counter('hours run', 'h', 1),
  starts: counter('starts', '{count}', 0),
  pulses: counter('pulses', '{count}', 0),
  volume: counter('volume', 'L', 0),
  uptime: counter('time since controller start', 's', 0),
} as const satisfies Record<string, QuantitySpec>

export type Quantity = keyof typeof QUANTITIES
export const QUANTITY_NAMES = Object.keys(QUANTITIES) as readonly Quantity[]

/** Last parts of a signal id that stand for a quantity of another name: `sump.high` is a float. */
const SUFFIX: Readonly<Record<string, Quantity>> = {
  low: 'float',
  high: 'float',
  'high-high': 'float',
  leak: 'float',
  'roll-end': 'end',
  index: 'pulses',
}

/** The quantity a signal id names by its last part (`bio1.do`, `sump.high`), or null when it names none. */
export function quantityOfId(signalId: string): Quantity | null {
  const last = signalId.slice(signalId.lastIndexOf('.') + 1)
  if (Object.hasOwn(QUANTITIES, last)) return last as Quantity
  return Object.hasOwn(SUFFIX, last) ? (SUFFIX[last] ?? null) : null
}
