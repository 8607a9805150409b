/**
 * The library of faults and look-alikes as a table: how each is run on the reference loop, which way its signs go, and in which order.
 * Signs and their order are deduced from the balances of oxygen, carbonate and water, and are common practice, no source; what stands behind
 * them in print: biomass at work uses less oxygen under a poison, so oxygen rises (Gerardi, Wastewater Bacteria, tables 19.19, 19.20);
 * white foam is surfactant not taken apart (Grady, Daigger & Lim 2011, 10.4.2); films on oxygen probes (Samuelsson et al. 2018). Sizes and
 * times of F1 to F12 and B1 to B8: common practice, no source, each taken within a quarter unless said. Where that practice and the balances of this
 * loop cannot both be had, the balance stands and a comment says what practice expects.
 */
import { referenceFacts } from './reference-loop.ts'
import type { Expected, Passing, Run, Watched } from './traces.ts'

export interface Scenario {
  /** `F4`, `B2`, or a variant, `F5 ozone`. */
  readonly id: string
  readonly title: string
  readonly run: Run
  readonly signs: readonly Expected[]
  /** Leaves its normal no later than the one after it. */
  readonly order: readonly Watched[]
  /** Bounds that are passed in their time. */
  readonly passings?: readonly Passing[]
  /** Look-alikes: the scenarios they must not match. */
  readonly imitates?: readonly string[]
}

const DAY = 24
const driven = { carryOff: 0.1, mist: 0.05 }
/** Hard water and cement dust: the alkalinity an acid controller is bought for. */
const limy = { makeUp: { ...referenceFacts.makeUp, alkalinity: 150 }, dirt: { ...referenceFacts.dirt, alkalinity: 40 }, carryOff: 0.2, mist: 0.05, dosePh: 7.7 }
const limier = { ...limy, dirt: { ...referenceFacts.dirt, alkalinity: 150 }, dosePh: 8.3 }

const s = (of: Watched, sign: Expected['sign'], fromH: number, toH: number, over: Partial<Expected> = {}): Expected => ({ of, sign, fromH, toH, ...over })
const flat = (fromH: number, toH: number, ...of: readonly Watched[]): readonly Expected[] => of.map((x) => s(x, '0', fromH, toH))
const p = (of: Watched, fromH: number, toH: number, bound: Pick<Passing, 'below' | 'above' | 'by' | 'hours'>): Passing => ({ of, fromH, toH, ...bound })
const LOADED = { hours: [11, 14.5] } as const
/** The probe of the treatment unit of the reference loop is an optical one: a film makes it read high. */
const FILM = '+' as const
const IDLE = { hours: [4, 7] } as const

export const SCENARIOS: readonly Scenario[] = [
  {
    id: 'F1',
    title: 'blower trips on an idle night',
    run: { kind: 'blower-trip', hour: 21.67, lastsH: null, watchH: 18, idle: true },
    signs: [
      s('pressure', '-', 0.02, 10, { below: 1 }),
      s('blowerA', '-', 0.02, 10, { below: 0.1 }),
      s('oxygen', '-', 1, 10, { below: 2.5 }),
      s('oxygen', '-', 2.5, 10, { below: 0.5 }),
      s('redox', '-', 3, 10),
      // Practice says 0.2 to 0.4 in six hours. Eight mg/L of oxygen breathed in a closed tank are 0.23 mmol/L of CO2: at an alkalinity of 90 that is
      // 0.4 from pH 7.4, where an acid controller holds it, and 0.75 from the 7.95 of this loop, which doses nothing.
      s('ph', '-', 4, 10),
      s('uptake', '-', 3, 10),
      ...flat(0, 18, 'celsius', 'finished', 'sump', 'washedL'),
      s('activity', '0', 0, 18, { above: 0.9 }),
    ],
    order: ['pressure', 'oxygen', 'redox', 'h2s'],
    passings: [
      p('oxygen', 1, 1.65, { below: 1 }),
      p('oxygen2', 4.5, 7.5, { below: 1 }),
      // 150 mV in three hours.
      p('redox', 1.2, 3, { by: -112 }),
      // It smells 8 h (25 C) to 16 h (15 C) after the oxygen is gone, which was at 1.6 h: 11.3 h at 20 C. Five ppm over the water.
      p('h2s', 1.6 + 8.5, 1.6 + 14, { above: 5 }),
    ],
  },
  {
    id: 'F2',
    title: 'air line slips off the treatment unit in a wash',
    run: { kind: 'air-line-off', hour: 12, lastsH: null, watchH: 2.8 },
    signs: [
      // 40 to 70 % less.
      s('pressure', '-', 0.02, 2.8, { above: 56, below: 113 }),
      ...flat(0, 2.8, 'blowerA', 'celsius', 'finished'),
      s('oxygen', '-', 0.3, 2.8, { below: 1 }),
      // Practice has it slightly up; a torn line takes air from all tanks, and food spills over: it holds for an hour and falls.
      s('oxygen2', '0', 0, 1),
      s('activity', '0', 0, 2.8),
    ],
    order: ['pressure', 'oxygen', 'redox'],
    // 43 mg/L/h use up 4.7 mg/L in seven minutes, as in F1 while washing; practice gives this row 20.
    passings: [p('oxygen', 0.05, 0.42, { below: 0.7 })],
  },
  {
    id: 'F3',
    title: 'diffusers clog over 60 days',
    run: { kind: 'diffuser-fouling', hour: 6, lastsH: null, watchH: 60 * DAY, rampH: 60 * DAY },
    signs: [
      s('pressure', '+', 12 * DAY, 60 * DAY),
      s('oxygen', '-', 35 * DAY, 60 * DAY, { ...LOADED, below: 3 }),
      s('pressure', '+', 59 * DAY, 60 * DAY, { above: 170 * 1.225, below: 170 * 1.375 + 20 }),
      // 0.4 mg/L is what a look takes for a change; idle oxygen stays within one.
      s('oxygen', '-', 40 * DAY, 60 * DAY, { ...IDLE, above: 7.2 }),
      s('uptake', '0', 20 * DAY, 60 * DAY, LOADED),
      ...flat(0, 60 * DAY, 'celsius', 'finished', 'washedL', 'activity'),
    ],
    order: ['pressure'],
    passings: [p('oxygen', 23 * DAY, 39 * DAY, { ...LOADED, below: 3 }), p('oxygen', 36 * DAY, 60 * DAY, { ...LOADED, below: 1 })],
  },
  {
    id: 'F4',
    title: 'five litres of degreaser in one wash',
    run: { kind: 'degreaser', hour: 9, lastsH: 0.25, watchH: 30 },
    signs: [
      s('ph', '+', 0.2, 0.7),
      // 50 to 200 mm in a tank 1.6 m deep are 3 to 12.5 %.
      s('foam', '+', 0.35, 2, { below: 98 + 12.5 }),
      s('oxygen', '-', 0.3, 0.7, { below: 2.5 }),
      s('oxygen', '+', 4, 5.8, { above: 6.3 }),
      s('uptake', '-', 4, 5.8),
      s('uptake2', '+', 3, 5.8),
      s('milky', '+', 9, 20),
      // Three times its normal between 6 and 24 h, and worse on the second day: two bio tanks hold more than a day's flow.
      s('turbidity', '+', 7, 23, { above: 20 }),
      s('turbidity', '+', 26, 30, { above: 30 }),
      s('activity', '-', 4, 6, { below: 0.4 }),
      ...flat(0, 6, 'celsius', 'blowerA', 'pressure', 'washedL'),
    ],
    order: ['ph', 'milky', 'turbidity'],
    passings: [
      p('truePh', 0.1, 0.6, { by: 0.5 }),
      p('foam', 0.1, 0.6, { by: 3.1 }),
      p('oxygen', 0.2, 1, { below: 2 }),
      p('oxygen', 1.5, 5, { by: 1 }),
      p('activity', 2, 5, { below: 0.2 }),
    ],
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
      // Four fifths less.
      s('uptake', '-', 1, 2, { below: 0.3 * 43 }),
      s('activity', '-', 1.8, 2.2, { below: 0.35, above: 0.08 }),
      ...flat(0, 4, 'celsius', 'blowerA', 'pressure', 'washedL'),
    ],
    order: ['redox', 'uptake'],
    passings: [p('redox', 0.05, 0.42, { by: 150 }), p('oxygen', 0.05, 0.6, { by: 1 }), p('truePh', 0.05, 0.5, { by: 0.3 })],
  },
  {
    id: 'F5 ozone',
    title: 'ozonated water runs back into the treatment unit',
    run: { kind: 'ozone-return', hour: 22, lastsH: null, watchH: 36, facts: { ozoneGPerH: 10 } },
    signs: [
      s('redox', '+', 3, 9, { above: 350 }),
      s('oxygen', '+', 1, 9),
      s('saturated', '+', 1, 9, { above: 105 }),
      // Bleach kills four fifths in two hours with 0.1 g per g of culture; ten grams of ozone an hour are two days' work for the same.
      s('activity', '-', 12, 36, { below: 0.45 }),
      s('uptake', '-', 13, 16.5),
      ...flat(0, 8, 'blowerA', 'pressure'),
    ],
    // Oxygen comes in with the ozone; the redox electrode, slow as it is, follows within a quarter of an hour, and the harm long after both.
    order: ['saturated', 'redox', 'activity'],
    passings: [p('redox', 0.05, 0.42, { by: 150 }), p('saturated', 0.05, 0.6, { above: 105 })],
  },
  {
    id: 'F6',
    title: 'acid relay sticks',
    run: { kind: 'dose-stuck', hour: 2.17, lastsH: null, watchH: 5 },
    signs: [
      s('dosedL', '+', 0.2, 5),
      s('ph', '-', 0.2, 5),
      s('ph', '-', 0.4, 5, { below: 5 }),
      s('dosedL', '+', 0.98, 1.02, { above: 1.8, below: 2.2 }),
      s('uptake', '-', 0.5, 5),
      s('activity', '-', 3, 5, { below: 0.4 }),
      s('oxygen', '+', 1, 5),
      ...flat(0, 5, 'celsius', 'blowerA', 'pressure', 'washedL'),
    ],
    order: ['ph', 'uptake', 'activity'],
    passings: [
      p('ph', 3.75 / 60, 10 / 60, { below: 6.5 }),
      p('ph', 9.75 / 60, 16.3 / 60, { below: 5 }),
      p('uptake', 0.15, 0.42, { by: -2 }),
      // Practice says 2 to 4 h, and a loss of 1.5 per h at pH 4, which is reached in a quarter of an hour: the rate is kept, so it is sooner.
      p('activity', 0.5, 4, { below: 0.4 }),
    ],
  },
  {
    id: 'F7',
    title: 'alkalinity runs out in soft water',
    run: { kind: 'alkalinity-loss', hour: 6, lastsH: null, watchH: 26 * DAY, facts: driven },
    signs: [
      s('ph', '-', 6 * DAY, 12 * DAY, IDLE),
      s('alkalinity', '-', 6 * DAY, 12 * DAY),
      s('ph', '-', 23 * DAY, 26 * DAY, { ...IDLE, below: 6.5 }),
      // Practice has the whole culture at 0.7 by day 24. Nitrifiers slow below pH 7 and stop at 5.5, so they spare the last of the alkalinity: pH comes
      // to rest about 6.2, which the others outlive.
      s('activity', '0', 20 * DAY, 26 * DAY),
      ...flat(0, 26 * DAY, 'dosedL', 'celsius', 'washedL', 'pressure'),
    ],
    order: ['alkalinity', 'ph'],
    passings: [p('truePh', 16 * DAY, 22 * DAY, { ...IDLE, below: 6.5 })],
  },
  {
    id: 'F8',
    title: 'four weeks without washing or nutrients, then the first wash',
    run: { kind: 'starvation', hour: 6, lastsH: 28 * DAY, watchH: 29 * DAY },
    signs: [
      s('washedL', '-', 2 * DAY, 28 * DAY),
      // 3.2 mg/L/h after a week, 1.5 after two; oxygen from 93 to 97 % of saturation.
      s('uptake', '-', 6 * DAY, 8 * DAY, { ...IDLE, below: 4, above: 2.4 }),
      s('uptake', '-', 13 * DAY, 15 * DAY, { ...IDLE, below: 1.9, above: 1.1 }),
      s('saturated', '+', 8 * DAY, 28 * DAY, { above: 96 }),
      // First wash: half the dip of 3.7 mg/L, from 9.5.
      s('oxygen', '+', 4, 8.5, { after: 'end', below: 9.5 - 0.75 * 1.85, above: 9.5 - 1.25 * 1.85 }),
      s('uptake', '-', 4, 8.5, { after: 'end', below: 21 }),
      ...flat(0, 5 * DAY, 'blowerA', 'pressure'),
    ],
    order: ['washedL', 'uptake', 'activity'],
    passings: [p('activity', 10 * DAY, 14 * DAY, { below: 0.7 })],
  },
  {
    id: 'F9',
    title: 'reference of the pH electrode poisoned over 30 days',
    run: { kind: 'ph-drift', hour: 6, lastsH: null, watchH: 30 * DAY, rampH: 30 * DAY, facts: limy },
    signs: [
      s('dosedL', '-', 15 * DAY, 30 * DAY),
      s('truePh', '+', 20 * DAY, 30 * DAY),
      // Practice says 9.2 by day 30. A controller holds what it is shown: 0.02 a day for 30 days is 0.6 above where it held, 8.3 here, and no more.
      s('truePh', '+', 29 * DAY, 30 * DAY, { ...IDLE, above: 8.15, below: 8.45 }),
      s('alkalinity', '+', 20 * DAY, 30 * DAY),
      s('oxygen', '0', 0, 30 * DAY),
      ...flat(0, 30 * DAY, 'celsius', 'washedL', 'pressure'),
    ],
    order: ['truePh', 'dosedL'],
  },
  {
    id: 'F9 slope',
    title: 'worn glass: 60 % slope',
    run: { kind: 'ph-slope', hour: 6, lastsH: null, watchH: 30 * DAY, rampH: 30 * DAY, facts: limier },
    signs: [
      s('dosedL', '-', 12 * DAY, 30 * DAY),
      // Held at 8.3 by a glass with 60 % of its slope, the water may go to 9.2, and with cement dust it is on its way there by day 30.
      s('truePh', '+', 28 * DAY, 30 * DAY, { ...IDLE, above: 8.8, below: 9.3 }),
      ...flat(0, 30 * DAY, 'celsius', 'pressure', 'washedL'),
    ],
    order: ['truePh', 'dosedL'],
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
      // 10 to 20 % less in the loop as a whole.
      s('loopSalt', '-', 2.5, 8, { above: 0.75 * 575, below: 0.925 * 575 }),
      s('lostL', '+', 2.5, 8),
      s('uptake', '-', 3, 8),
      // Practice has 5 to 15 % of the biology gone; the pump passes no more than on a day of washing, and that does no harm either.
      ...flat(0, 8, 'blowerA', 'pressure', 'activity'),
    ],
    order: ['transferA', 'finished', 'lostL'],
    // The sump is two thirds full when the pump stops, as 25 L/min fall and 23 are pumped: it is over in 20 minutes, in 40 from empty.
    passings: [p('finished', 0.56, 1.6, { above: 93 }), p('sump', 1.6, 2.3, { above: 95 }), p('lostL', 1.6, 3, { above: 20 })],
  },
  {
    id: 'F11',
    title: 'transfer pump draws air',
    run: { kind: 'transfer-airlock', hour: 8.5, lastsH: null, watchH: 6 },
    signs: [s('sump', '+', 1, 6, { above: 90 }), s('finished', '-', 1, 6), s('transferA', '-', 1, 6), ...flat(0, 3, 'blowerA', 'celsius')],
    order: ['sump', 'finished'],
    // Washing stops.
    passings: [p('finished', 3, 5, { below: 3 })],
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
    order: ['finished', 'makeUpL', 'lostL'],
    passings: [p('lostL', 3, 6, { above: 20 }), p('makeUpL', 0.9, 1.1, { by: 480 })],
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
    signs: [
      s('makeUpL', '+', 0.5, 18),
      s('salt', '-', 2, 18),
      s('activity', '-', 6, 18),
      s('uptake', '-', 2, 18),
      s('oxygen', '+', 1, 11),
      s('turbidity', '+', 3, 18, { above: 20 }),
      ...flat(0, 12, 'blowerA'),
    ],
    order: ['makeUpL', 'activity', 'turbidity'],
  },
  {
    id: 'detergent',
    title: 'a can of foaming detergent in one wash',
    run: { kind: 'detergent', hour: 10, lastsH: 0.5, watchH: 5 },
    signs: [
      s('foam', '+', 0.5, 2),
      s('oxygen', '-', 0.5, 2),
      ...flat(0, 5, 'blowerA', 'pressure', 'celsius', 'washedL'),
      s('activity', '0', 0, 5, { above: 0.9 }),
      s('redox', '0', 0, 5),
    ],
    order: ['foam', 'oxygen'],
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
    signs: [s('oxygen', FILM, 6 * DAY, 10 * DAY), ...flat(0, 10 * DAY, 'uptake', 'ph', 'redox', 'celsius', 'pressure', 'blowerA', 'truePh', 'oxygen2')],
    order: ['oxygen'],
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
      // The first day's dip, from 9.3, is at least seven tenths of 3.7 mg/L.
      s('oxygen', '+', 4, 8.5, { after: 'end', below: 9.3 - 0.7 * 3.7 }),
    ],
    order: ['washedL'],
    imitates: ['F8', 'F4', 'F5'],
  },
  {
    id: 'B2',
    title: 'heavy day with much detergent',
    run: { kind: 'heavy-day', hour: 15, lastsH: 3, watchH: 8 },
    signs: [
      s('washedL', '+', 2, 8),
      s('oxygen', '-', 0.5, 3),
      s('oxygen', '0', 6, 8),
      s('uptake', '+', 0.5, 3),
      // Practice has 150 mm, 9 % of this tank: with so much surfactant the bubbles would give too little, and the oxygen not be back in three hours.
      s('foam', '+', 0.5, 3),
      s('lostL', '0', 0, 8),
      s('activity', '0', 0, 8),
    ],
    order: ['uptake'],
    passings: [p('foam', 0.2, 2.5, { by: 3.1 })],
    imitates: ['F4', 'F2', 'overload', 'leak', 'overflow'],
  },
  {
    id: 'B3',
    title: 'cold snap',
    run: { kind: 'cold-snap', hour: 6, lastsH: null, watchH: 5 * DAY, rampH: 2 * DAY, size: 0.8, facts: { indoorC: null } },
    signs: [
      s('celsius', '-', 2 * DAY, 5 * DAY),
      // 7 degrees in four days.
      s('celsius', '-', 3.8 * DAY, 4.2 * DAY, { below: 19.9 - 5.25, above: 19.9 - 8.75 }),
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
    // 1.5 mg/L and no deeper.
    passings: [p('oxygen', 1.05, 1.3, { by: -1.1 }), p('oxygen', Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, { by: -1.9 })],
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
