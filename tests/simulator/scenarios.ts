/**
 * The library of faults and look-alikes as a table: how each is run on the reference loop, which way its signs go, and in which order.
 * Signs and their order are deduced from the balances of oxygen, carbonate and water, and are common practice, no source; what stands behind
 * them in print: biomass at work uses less oxygen under a poison, so oxygen rises (Gerardi, Wastewater Bacteria, tables 19.19, 19.20);
 * white foam is surfactant not taken apart (Grady, Daigger & Lim 2011, 10.4.2); films on oxygen probes (Samuelsson et al. 2018). Sizes and
 * times of F1 to F12 and B1 to B8: common practice, no source.
 */
import { referenceFacts } from './reference-loop.ts'
import type { Expected, Run, Watched } from './traces.ts'

export interface Scenario {
  /** `F4`, `B2`, or a variant, `F5 ozone`. */
  readonly id: string
  readonly title: string
  readonly run: Run
  readonly signs: readonly Expected[]
  /** Leaves its normal no later than the one after it. */
  readonly order: readonly Watched[]
  /** Look-alikes: the scenarios they must not match. */
  readonly imitates?: readonly string[]
}

const DAY = 24
const soft = { makeUp: { ...referenceFacts.makeUp, alkalinity: 25 }, carryOff: 0.2, mist: 0.05 }
const dosed = { dosePh: 7.7 }

const s = (of: Watched, sign: Expected['sign'], fromH: number, toH: number, over: Partial<Expected> = {}): Expected => ({ of, sign, fromH, toH, ...over })
const flat = (fromH: number, toH: number, ...of: readonly Watched[]): readonly Expected[] => of.map((x) => s(x, '0', fromH, toH))
const LOADED = { hours: [11, 14.5] } as const
const IDLE = { hours: [4, 7] } as const

export const SCENARIOS: readonly Scenario[] = [
  {
    id: 'F1',
    title: 'blower trips on an idle night',
    run: { kind: 'blower-trip', hour: 21.67, lastsH: null, watchH: 10 },
    signs: [
      s('pressure', '-', 0.02, 10, { below: 1 }),
      s('blowerA', '-', 0.02, 10, { below: 0.1 }),
      s('oxygen', '-', 1, 10, { below: 2.5 }),
      s('oxygen', '-', 2.5, 10, { below: 0.5 }),
      s('redox', '-', 3, 10),
      s('ph', '-', 4, 10),
      s('uptake', '-', 3, 10),
      ...flat(0, 10, 'celsius', 'finished', 'sump', 'washedL'),
      s('activity', '0', 0, 10, { above: 0.9 }),
    ],
    order: ['pressure', 'oxygen', 'redox'],
  },
  {
    id: 'F2',
    title: 'air line slips off the treatment unit in a wash',
    run: { kind: 'air-line-off', hour: 12, lastsH: null, watchH: 2.8 },
    signs: [s('pressure', '-', 0.02, 2.8, { above: 60 }), ...flat(0, 2.8, 'blowerA', 'celsius', 'finished'), s('oxygen', '-', 0.3, 2.8, { below: 1 }), s('oxygen2', '0', 0, 1)],
    order: ['pressure', 'oxygen', 'redox'],
  },
  {
    id: 'F3',
    title: 'diffusers clog over 60 days',
    run: { kind: 'diffuser-fouling', hour: 6, lastsH: null, watchH: 60 * DAY, rampH: 60 * DAY },
    signs: [
      s('pressure', '+', 12 * DAY, 60 * DAY),
      s('oxygen', '-', 35 * DAY, 60 * DAY, { ...LOADED, below: 3 }),
      s('oxygen', '-', 50 * DAY, 60 * DAY, { ...LOADED, below: 2 }),
      // 0.4 mg/L is what a look takes for a change; idle oxygen stays within one.
      s('oxygen', '-', 40 * DAY, 60 * DAY, { ...IDLE, above: 7.2 }),
      s('uptake', '0', 20 * DAY, 60 * DAY, LOADED),
      ...flat(0, 60 * DAY, 'celsius', 'finished', 'washedL', 'activity'),
    ],
    order: ['pressure'],
  },
  {
    id: 'F4',
    title: 'five litres of degreaser in one wash',
    run: { kind: 'degreaser', hour: 9, lastsH: 0.25, watchH: 30 },
    signs: [
      s('ph', '+', 0.2, 0.7),
      s('foam', '+', 0.3, 2),
      s('oxygen', '-', 0.3, 1, { below: 3 }),
      s('oxygen', '+', 4, 5.8),
      s('uptake', '-', 4, 5.8),
      s('uptake2', '+', 3, 5.8),
      s('milky', '+', 9, 20),
      // Two bio tanks hold more than a day's flow: the finished water follows on the second day.
      s('turbidity', '+', 26, 30),
      s('activity', '-', 4, 6, { below: 0.4 }),
      ...flat(0, 6, 'celsius', 'blowerA', 'pressure', 'washedL'),
    ],
    order: ['ph', 'milky', 'turbidity'],
  },
  {
    id: 'F4 solvent',
    title: 'a litre of solvent in one wash',
    run: { kind: 'solvent', hour: 9, lastsH: 0.25, watchH: 12 },
    signs: [...flat(0.2, 1, 'ph'), s('oxygen', '+', 4, 5.8), s('uptake', '-', 4, 5.8), s('activity', '-', 4, 6, { below: 0.4 }), ...flat(0, 6, 'celsius', 'blowerA', 'pressure')],
    order: ['activity', 'uptake'],
  },
  {
    id: 'F5',
    title: 'two litres of bleach',
    run: { kind: 'bleach', hour: 10.33, lastsH: 0.17, watchH: 6 },
    signs: [
      s('redox', '+', 0.15, 0.6),
      s('ph', '+', 0.1, 0.5),
      s('oxygen', '+', 1, 4),
      s('uptake', '-', 1.5, 4),
      s('activity', '-', 2, 6, { below: 0.4 }),
      ...flat(0, 4, 'celsius', 'blowerA', 'pressure', 'washedL'),
    ],
    order: ['redox', 'uptake'],
  },
  {
    id: 'F5 ozone',
    title: 'ozonated water runs back into the treatment unit',
    run: { kind: 'ozone-return', hour: 22, lastsH: null, watchH: 36, size: 2, facts: { ozoneGPerH: 30 } },
    signs: [s('redox', '+', 3, 9), s('activity', '-', 24, 36), s('uptake', '-', 13, 16.5), ...flat(0, 8, 'blowerA', 'pressure')],
    order: ['redox', 'activity'],
  },
  {
    id: 'F6',
    title: 'acid relay sticks',
    run: { kind: 'dose-stuck', hour: 2.17, lastsH: null, watchH: 5 },
    signs: [
      s('dosedL', '+', 0.2, 5),
      s('ph', '-', 0.2, 5),
      s('ph', '-', 0.4, 5, { below: 5 }),
      s('uptake', '-', 0.5, 5),
      s('activity', '-', 3, 5, { below: 0.4 }),
      s('oxygen', '+', 1, 5),
      ...flat(0, 5, 'celsius', 'blowerA', 'pressure', 'washedL'),
    ],
    order: ['ph', 'uptake', 'activity'],
  },
  {
    id: 'F7',
    title: 'alkalinity runs out in soft water',
    run: { kind: 'alkalinity-loss', hour: 6, lastsH: null, watchH: 22 * DAY, facts: soft },
    signs: [s('ph', '-', 6 * DAY, 12 * DAY, IDLE), s('ph', '-', 19 * DAY, 22 * DAY, { ...IDLE, below: 6.9 }), ...flat(0, 22 * DAY, 'dosedL', 'celsius', 'washedL', 'pressure')],
    order: ['ph'],
  },
  {
    id: 'F8',
    title: 'four weeks without washing or nutrients, then the first wash',
    run: { kind: 'starvation', hour: 6, lastsH: 28 * DAY, watchH: 29 * DAY },
    signs: [
      s('washedL', '-', 2 * DAY, 28 * DAY),
      s('uptake', '-', 6 * DAY, 8 * DAY, { ...IDLE, below: 4.2 }),
      s('uptake', '-', 20 * DAY, 27 * DAY, { ...IDLE, below: 2 }),
      s('activity', '-', 16 * DAY, 28 * DAY, { below: 0.7 }),
      // First wash: much less of a dip than the culture once gave.
      s('oxygen', '+', 5, 8.5, { after: 'end' }),
      s('uptake', '-', 5, 8.5, { after: 'end', below: 36 }),
      ...flat(0, 5 * DAY, 'blowerA', 'pressure'),
    ],
    order: ['washedL', 'activity'],
  },
  {
    id: 'F9',
    title: 'reference of the pH electrode poisoned over 30 days',
    run: { kind: 'ph-drift', hour: 6, lastsH: null, watchH: 30 * DAY, rampH: 30 * DAY, facts: dosed },
    signs: [s('dosedL', '-', 15 * DAY, 30 * DAY), s('truePh', '+', 20 * DAY, 30 * DAY), s('oxygen', '0', 0, 30 * DAY), ...flat(0, 30 * DAY, 'celsius', 'washedL', 'pressure')],
    order: ['dosedL'],
  },
  {
    id: 'F9 slope',
    title: 'worn glass: 60 % slope',
    run: { kind: 'ph-slope', hour: 6, lastsH: null, watchH: 6 * DAY, facts: dosed },
    signs: [s('dosedL', '-', 2 * DAY, 6 * DAY), s('truePh', '+', 2 * DAY, 6 * DAY), ...flat(0, 6 * DAY, 'oxygen', 'celsius', 'pressure')],
    order: [],
  },
  {
    id: 'F10',
    title: 'cloudburst of two hours on the open pad',
    run: { kind: 'storm', hour: 18, lastsH: 2, watchH: 8 },
    signs: [
      s('transferA', '+', 0.3, 1.2),
      s('washedL', '0', 0, 8),
      s('finished', '+', 1, 8),
      s('sump', '+', 2.2, 8),
      s('salt', '-', 1, 8),
      ...flat(0, 8, 'blowerA', 'pressure', 'activity'),
    ],
    order: ['transferA', 'finished'],
  },
  {
    id: 'F11',
    title: 'transfer pump draws air',
    run: { kind: 'transfer-airlock', hour: 8.5, lastsH: null, watchH: 6 },
    signs: [s('sump', '+', 1, 6, { above: 90 }), s('finished', '-', 1, 6), s('transferA', '-', 1, 6), ...flat(0, 3, 'blowerA', 'celsius')],
    order: ['sump', 'finished'],
  },
  {
    id: 'F11 strainer',
    title: 'strainer blocks',
    run: { kind: 'strainer-blocked', hour: 8.5, lastsH: null, watchH: 6, rampH: 1.5 },
    signs: [s('sump', '+', 2, 6), s('finished', '-', 2, 6), ...flat(0, 3, 'blowerA', 'celsius')],
    order: ['sump', 'finished'],
  },
  {
    id: 'F11 make-up',
    title: 'make-up valve sticks open',
    run: { kind: 'make-up-stuck', hour: 16, lastsH: null, watchH: 8 },
    signs: [s('makeUpL', '+', 1, 8), s('finished', '+', 1, 8), s('lostL', '+', 6, 8), ...flat(0, 8, 'oxygen', 'uptake', 'pressure', 'washedL')],
    order: ['makeUpL', 'lostL'],
  },
  {
    id: 'F12',
    title: 'power blinks, the blower stays off',
    run: { kind: 'no-restart', hour: 3, lastsH: null, watchH: 4 },
    signs: [
      s('uptimeH', '-', 0.05, 4),
      s('pressure', '-', 0.02, 4, { below: 1 }),
      s('phase2', '0', 0.1, 4),
      s('oxygen', '-', 1, 4),
      s('oxygen', '-', 2, 4, { below: 1 }),
      ...flat(0, 4, 'celsius', 'finished'),
    ],
    order: ['pressure', 'oxygen', 'redox'],
  },
  {
    id: 'F12 selector',
    title: 'selector left in OFF',
    run: { kind: 'left-in-off', hour: 3, lastsH: null, watchH: 4 },
    signs: [...flat(0, 4, 'uptimeH', 'phase2'), s('pressure', '-', 0.02, 4), s('oxygen', '-', 1, 4)],
    order: ['pressure', 'oxygen'],
  },
  // The rest of what can be told apart.
  {
    id: 'overload',
    title: 'a load of fat and blood water',
    run: { kind: 'fatty-load', hour: 9, lastsH: 1, watchH: 6, size: 0.8 },
    signs: [s('oxygen', '-', 0.5, 3), s('uptake', '+', 0.3, 3), s('redox', '-', 1, 4), ...flat(0, 3, 'blowerA', 'pressure', 'celsius'), s('activity', '0', 0, 3)],
    order: ['uptake', 'oxygen', 'redox'],
  },
  {
    id: 'nutrients',
    title: 'nutrient pump fails where the dirt is poor in nitrogen',
    run: { kind: 'nutrient-off', hour: 6, lastsH: null, watchH: 10 * DAY, facts: { dirt: { ...referenceFacts.dirt, nitrogen: 0.5 } } },
    signs: [s('oxygen', '+', 4 * DAY, 10 * DAY, LOADED), s('uptake', '-', 4 * DAY, 10 * DAY, LOADED), ...flat(0, 10 * DAY, 'celsius', 'pressure', 'washedL')],
    order: ['uptake'],
  },
  {
    id: 'washout',
    title: 'a hose runs into the treatment unit',
    run: { kind: 'washout', hour: 20, lastsH: null, watchH: 18 },
    signs: [s('makeUpL', '+', 0.5, 18), s('salt', '-', 2, 18), s('activity', '-', 6, 18), s('uptake', '-', 15, 18), ...flat(0, 12, 'blowerA')],
    order: ['makeUpL', 'activity'],
  },
  {
    id: 'heat',
    title: 'a hot-water cleaner left running',
    run: { kind: 'hot-wash', hour: 8, lastsH: 7, watchH: 14 },
    signs: [s('celsius', '+', 2, 9), s('oxygen', '-', 0.8, 1.6), s('uptake', '+', 0.8, 1.6), s('uptake', '-', 4, 7), ...flat(0, 6, 'blowerA')],
    order: ['celsius', 'activity'],
  },
  {
    id: 'oxygen probe film',
    title: 'a film on the oxygen probe',
    run: { kind: 'oxygen-fouling', hour: 6, lastsH: null, watchH: 10 * DAY, rampH: 10 * DAY },
    signs: flat(0, 10 * DAY, 'uptake', 'ph', 'redox', 'celsius', 'pressure', 'blowerA', 'truePh'),
    order: [],
  },
  {
    id: 'oxygen probe failed',
    title: 'the oxygen probe lies at zero',
    run: { kind: 'oxygen-failed', hour: 6, lastsH: null, watchH: 6 },
    signs: [s('oxygen', '-', 0.1, 6, { below: 0.05 }), ...flat(0, 6, 'uptake', 'ph', 'redox', 'celsius', 'pressure', 'blowerA')],
    order: [],
  },
  {
    id: 'power',
    title: 'mains off for hours',
    run: { kind: 'power-loss', hour: 2, lastsH: 6, watchH: 10 },
    signs: [s('phase2', '-', 0.02, 6), s('pressure', '-', 0.02, 6), s('oxygen', '-', 2, 6), s('uptimeH', '-', 0.1, 10), s('pressure', '0', 6.1, 10), s('oxygen', '0', 8.5, 10)],
    order: ['phase2', 'oxygen'],
  },
  {
    id: 'phase',
    title: 'one phase of the mains is gone',
    run: { kind: 'phase-loss', hour: 10, lastsH: null, watchH: 3 },
    signs: [s('phase2', '-', 0.02, 3, { below: 60 }), s('pressure', '-', 0.05, 3), s('oxygen', '-', 0.3, 3), s('uptimeH', '0', 0, 3), s('washedL', '-', 2, 3)],
    order: ['phase2', 'oxygen'],
  },
  {
    id: 'leak',
    title: 'the finished tank leaks',
    run: { kind: 'leak', hour: 16, lastsH: null, watchH: 15, size: 4 },
    signs: [s('lostL', '+', 2, 15), s('finished', '-', 5, 15), ...flat(0, 15, 'oxygen', 'uptake', 'pressure', 'washedL')],
    order: ['lostL', 'finished'],
  },
  {
    id: 'overflow',
    title: 'the crest of the last bio tank is blocked',
    run: { kind: 'overflow', hour: 8.5, lastsH: null, watchH: 6, at: 'bio2' },
    signs: [s('finished', '-', 1.5, 6), s('lostL', '+', 3, 6), s('blowerA', '0', 0, 6)],
    order: ['finished', 'lostL'],
  },
  {
    id: 'paper',
    title: 'the roll runs out',
    run: { kind: 'roll-end', hour: 8, lastsH: null, watchH: 4 * DAY },
    signs: [s('turbidity', '+', 1 * DAY, 4 * DAY), ...flat(0, 4 * DAY, 'pressure', 'celsius', 'washedL')],
    order: [],
  },
  {
    id: 'controller',
    title: 'the program of the controller stands still',
    run: { kind: 'controller-stuck', hour: 12, lastsH: null, watchH: 12 },
    // The shown figure lies still while the true uptake goes its way: in the evening shown oxygen is still that of noon.
    signs: [s('oxygen', '-', 6, 12), s('uptake', '0', 6, 12), s('celsius', '0', 0, 12)],
    order: [],
  },
  // Look-alikes.
  {
    id: 'B1',
    title: 'holiday of nine days',
    run: { kind: 'no-washing', hour: 6, lastsH: 9 * DAY, watchH: 10 * DAY },
    signs: [
      s('washedL', '-', 2 * DAY, 9 * DAY),
      s('uptake', '-', 6 * DAY, 8.9 * DAY, IDLE),
      s('activity', '-', 7 * DAY, 9 * DAY, { above: 0.7 }),
      s('uptake', '0', 5, 8.5, { after: 'end', above: 37 }),
    ],
    order: ['washedL'],
    imitates: ['F8', 'F4', 'F5'],
  },
  {
    id: 'B2',
    title: 'heavy day with much detergent',
    run: { kind: 'heavy-day', hour: 15, lastsH: 3, watchH: 8 },
    signs: [s('washedL', '+', 2, 8), s('oxygen', '-', 0.5, 3), s('oxygen', '0', 6, 8), s('uptake', '+', 0.5, 3), s('lostL', '0', 0, 8), s('activity', '0', 0, 8)],
    order: ['uptake'],
    imitates: ['F4', 'F2', 'overload', 'leak', 'overflow'],
  },
  {
    id: 'B3',
    title: 'cold snap',
    run: { kind: 'cold-snap', hour: 6, lastsH: null, watchH: 5 * DAY, rampH: 2 * DAY, facts: { indoorC: null } },
    signs: [
      s('celsius', '-', 2 * DAY, 5 * DAY),
      s('oxygen', '+', 3 * DAY, 5 * DAY, IDLE),
      s('uptake', '-', 3 * DAY, 5 * DAY, IDLE),
      s('activity', '0', 0, 5 * DAY, { above: 0.9 }),
      s('pressure', '0', 0, 5 * DAY),
    ],
    order: ['celsius', 'uptake'],
    imitates: ['F4', 'F4 solvent', 'F5', 'F8'],
  },
  {
    id: 'B4',
    title: 'the air pauses 15 minutes a night',
    run: { kind: 'nightly-air-off', hour: 1, lastsH: null, watchH: 10 },
    signs: [s('oxygen', '-', 1.1, 1.3), s('oxygen', '0', 2, 10), s('pressure', '-', 1.01, 1.24), s('pressure', '0', 1.3, 10), s('uptimeH', '0', 0, 10)],
    order: ['pressure', 'oxygen'],
    imitates: ['F1', 'F2', 'F12', 'F12 selector'],
  },
  {
    id: 'B5',
    title: 'tank cleaning of five hours',
    run: { kind: 'tank-cleaning', hour: 2, lastsH: 5, watchH: 12 },
    signs: [s('foam', '-', 0.5, 5, { below: 10 }), s('oxygen', '+', 0.6, 5), s('activity', '0', 0, 12)],
    order: ['foam'],
    imitates: ['F1', 'F2', 'F4', 'F5', 'F6', 'F10', 'F12'],
  },
  {
    id: 'B6',
    title: 'link out for four hours',
    run: { kind: 'link-out', hour: 2, lastsH: 4, watchH: 6 },
    signs: flat(0, 6, 'oxygen', 'uptake', 'ph', 'redox', 'pressure', 'blowerA', 'phase2', 'uptimeH', 'finished'),
    order: [],
    imitates: ['power', 'F1', 'F12'],
  },
  {
    id: 'B7',
    title: 'power cut of six minutes, clean restart',
    run: { kind: 'power-cut', hour: 3, lastsH: 0.1, watchH: 4 },
    signs: [s('phase2', '-', 0.01, 0.09), s('uptimeH', '-', 0.2, 4), s('pressure', '0', 0.2, 4), s('oxygen', '0', 0.5, 4)],
    order: ['phase2'],
    imitates: ['F12', 'F1', 'power', 'phase'],
  },
  {
    id: 'B8',
    title: 'new pH electrode',
    run: { kind: 'new-probe', hour: 6, lastsH: null, watchH: 6 },
    signs: [s('ph', '+', 0.1, 6), ...flat(0, 6, 'truePh', 'oxygen', 'uptake', 'redox', 'dosedL', 'celsius')],
    order: ['ph'],
    imitates: ['F4', 'F5', 'F6', 'F7', 'F9'],
  },
  {
    id: 'B8 oxygen',
    title: 'oxygen probe calibrated',
    run: { kind: 'calibrated-oxygen', hour: 6, lastsH: null, watchH: 6 },
    signs: [s('oxygen', '+', 0.1, 6), ...flat(0, 6, 'truePh', 'uptake', 'redox', 'celsius', 'oxygen2')],
    order: ['oxygen'],
    imitates: ['F4', 'F4 solvent', 'F5', 'F8'],
  },
]
