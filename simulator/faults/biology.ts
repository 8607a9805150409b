/** Faults that strike the culture: what is poured in, dosed, left out, or brought by the weather. Doses and kill are ours. */
import { ALKALINITY, COD, OIL, OXIDANT, SALT, SURFACTANT, TOXICANT } from '../process/species.ts'
import { type Kind, firstTank, pour } from './kind.ts'

export const biologyKinds = {
  degreaser: {
    scenario: 'F4',
    variant: null,
    cause: 'toxic shock',
    what: 'Five litres of alkaline degreaser with a biocide go down the pad in one wash.',
    apply: (t, s, f, p) => {
      pour(t, f, p, 'pad', SURFACTANT, 450 * s)
      pour(t, f, p, 'pad', TOXICANT, 62 * s)
      pour(t, f, p, 'pad', ALKALINITY, 2.5 * s)
      pour(t, f, p, 'pad', COD, 400 * s)
    },
  },
  solvent: {
    scenario: 'F4',
    variant: 'solvent',
    cause: 'toxic shock',
    what: 'A litre of solvent cleaner goes down the pad: no foam, no alkali, the same poison.',
    apply: (t, s, f, p) => {
      pour(t, f, p, 'pad', TOXICANT, 62 * s)
      pour(t, f, p, 'pad', OIL, 250 * s)
    },
  },
  bleach: {
    scenario: 'F5',
    variant: null,
    cause: 'toxic shock',
    what: 'Two litres of 12 % bleach reach the treatment unit.',
    apply: (t, s, f, p) => {
      const tank = firstTank(p, f)
      pour(t, f, p, tank, OXIDANT, 240 * s)
      pour(t, f, p, tank, SALT, 200 * s)
      // Caustic that keeps bleach from gassing: about 5 g per litre of product (common practice, no source).
      pour(t, f, p, tank, ALKALINITY, 0.25 * s)
    },
  },
  'ozone-return': {
    scenario: 'F5',
    variant: 'ozone',
    cause: 'ozone in biology',
    what: 'A return valve stands open: ozonated water runs back into the treatment unit while the generator runs without pause.',
    apply: (t, s) => {
      t.ozoneReturn = 60 * s
      t.ozoneForced = true
    },
  },
  'alkalinity-loss': {
    scenario: 'F7',
    variant: null,
    cause: 'alkalinity used up',
    what: 'The mains turn soft, and nitrification uses up the alkalinity that was there.',
    apply: (t, s) => {
      t.alkalinityUse = 0.265 * s
      t.softened = Math.min(1, 0.7 * s)
    },
  },
  starvation: {
    scenario: 'F8',
    variant: null,
    cause: 'starvation',
    what: 'Nobody washes for weeks and the nutrient pump is off.',
    apply: (t) => {
      t.noWash = true
      t.nutrientOff = true
    },
  },
  'nutrient-off': {
    scenario: null,
    variant: null,
    cause: 'nutrients stopped',
    what: 'The nutrient pump has failed: no counts, no nitrogen.',
    apply: (t) => void (t.nutrientOff = true),
  },
  detergent: {
    scenario: null,
    variant: null,
    cause: 'air transfer',
    what: 'A can of foaming detergent is used up on one vehicle: nothing is poisoned, but bubbles give less oxygen while it lasts.',
    apply: (t, s, f, p) => pour(t, f, p, 'pad', SURFACTANT, 120 * s),
  },
  'fatty-load': {
    scenario: null,
    variant: null,
    cause: 'overload',
    what: 'A load of fat and blood water: more food than the air can follow.',
    apply: (t, s, f, p) => {
      pour(t, f, p, 'pad', COD, 1200 * s)
      pour(t, f, p, 'pad', OIL, 300 * s)
      // Protein foams and keeps bubbles from giving their oxygen, as surfactant does.
      pour(t, f, p, 'pad', SURFACTANT, 26 * s)
    },
  },
  washout: {
    scenario: null,
    variant: null,
    cause: 'washout',
    what: 'A hose runs into the treatment unit day and night: the culture that does not hold on leaves with the water.',
    apply: (t, s, f, p) => {
      t.hose.set(firstTank(p, f), 60 * s)
      t.torn = Math.min(1, 0.08 * s)
    },
  },
  'hot-wash': {
    scenario: null,
    variant: null,
    cause: 'heat',
    what: 'A hot-water cleaner at 75 degrees is left running into the loop: the water passes 40 degrees.',
    apply: (t, s) => {
      t.hotC = 75
      t.rush = Math.max(t.rush, Math.min(1, s))
    },
  },
  'cold-snap': {
    scenario: 'B3',
    variant: null,
    cause: 'cold',
    what: 'The air turns bitterly cold within days, and the heating of the room fails with it.',
    apply: (t, s) => void (t.airC = -14 * s),
  },
} as const satisfies Record<string, Kind>
