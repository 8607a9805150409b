/**
 * Three voltages against each other. Unbalance is the greatest distance of one from their mean, over the mean (NEMA MG-1 as quoted in engineers' forums); one phase
 * that is off by d against two equal ones gives two thirds of d, so pairs 3 % apart stand for 2 %, and 7.5 % for 5 %.
 */
import type { Site } from '../site/site.ts'
import { capital, delayFor, MIN, PRACTICE, type Draft } from './draft.ts'
import type { Condition } from './rule.ts'

export function supplyAlarms(site: Site): readonly Draft[] {
  const [a, b, c, more] = site.signals.filter((s) => s.quantity === 'voltage')
  if (!a || !b || !c || more) return []
  const pairs = [
    [a, b],
    [b, c],
    [c, a],
  ] as const
  const apart = (share: number): readonly Condition[] =>
    pairs.flatMap(([x, y]): readonly Condition[] => {
      const pair = { kind: 'deviation', signal: x.id, from: { kind: 'signal', signal: y.id }, as: 'ratio', deadband: 0.005 } as const
      return [
        { ...pair, side: 'high', limit: 1 + share },
        { ...pair, side: 'low', limit: 1 - share },
      ]
    })
  const common = { stage: null, class: 'equipment', severity: 'major', latching: false, cautions: ['electricity', 'lockout'] } as const
  const cause = 'A fuse or a contact of one phase, a loose terminal, a heavy single-phase load nearby, or the utility.'
  return [
    {
      ...common,
      key: 'supply.unbalance',
      rule: { kind: 'any-of', of: apart(0.03), onDelayMs: delayFor(a, 10 * MIN), offDelayMs: delayFor(a, 5 * MIN) },
      what: 'The three phases of the supply are not alike',
      cause,
      consequence: 'Motors run hot and age: 2 % in voltage is some 15 % in current.',
      action: [
        'At the panel: a qualified person measures the three phases at main switch and motors, and tightens terminals.',
        'Yard, by phone: has a new load been put on one phase?',
      ],
      confirm: 'The three voltages are within 2 % of each other.',
      respondWithinMin: 720,
      basis: `2 % unbalance for 10 min. ${capital(PRACTICE)}.`,
    },
    {
      ...common,
      key: 'supply.phase',
      rule: { kind: 'any-of', of: apart(0.075), onDelayMs: delayFor(a, MIN), offDelayMs: delayFor(a, 5 * MIN) },
      what: 'A phase of the supply is weak or missing',
      cause,
      consequence: 'Motors that start on two phases burn in minutes; the phase monitor or the overload on site should keep them off.',
      action: [
        'Yard, by phone: which machines stand still? Nobody resets a trip before a qualified person has measured.',
        'At the panel: fuses and terminals of that phase, by a qualified person; the utility if it is missing at the main switch.',
        'When it is back, air first: blower, then transfer, dosing, ozone, washing.',
      ],
      confirm: 'The three voltages are alike and every machine runs.',
      respondWithinMin: 30,
      basis: `5 % unbalance for 1 min. ${capital(PRACTICE)}.`,
    },
  ]
}
