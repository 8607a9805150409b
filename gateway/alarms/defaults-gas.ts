/** Gases that hurt people. Limits given by law or by the bodies named; latching, because a cleared reading is not a safe place (common practice, no source). */
import type { Signal, Site } from '../site/site.ts'
import { limitRule, MIN, signalsOf, stageAt, placeOf, UNTUNED, type Draft } from './draft.ts'

interface Gas {
  readonly kind: 'high' | 'high-high'
  readonly limit: number
  readonly deadband: number
  readonly severity: 'severe' | 'major'
  /** Until it hurts somebody who stays in it. */
  readonly respondWithinMin: number
  readonly source: string
}

const OZONE: readonly Gas[] = [
  { kind: 'high', limit: 0.05, deadband: 0.02, severity: 'major', respondWithinMin: 30, source: '0.05 ppm: ACGIH limit for heavy work (OSHA chemical sampling page)' },
  { kind: 'high-high', limit: 0.1, deadband: 0.02, severity: 'severe', respondWithinMin: 5, source: '0.1 ppm: OSHA PEL and NIOSH ceiling (29 CFR 1910.1000 Table Z-1)' },
]
const H2S: readonly Gas[] = [
  { kind: 'high', limit: 5, deadband: 1, severity: 'major', respondWithinMin: 15, source: '5 ppm: ACGIH short-term limit (table in PMC5777517)' },
  { kind: 'high-high', limit: 10, deadband: 1, severity: 'severe', respondWithinMin: 5, source: '10 ppm: NIOSH ceiling, 10 min (table in PMC5777517)' },
]

export function gasAlarms(site: Site): readonly Draft[] {
  return [...signalsOf(site, 'ozone').flatMap((s) => OZONE.map((g) => ozone(site, s, g))), ...signalsOf(site, 'h2s').flatMap((s) => H2S.map((g) => sulphide(site, s, g)))]
}

const PROTECTS = 'The beacon and fan on site protect people, not this message'

function common(site: Site, s: Signal, g: Gas) {
  return {
    key: `${s.id}.${g.kind}`,
    stage: s.stage,
    rule: limitRule(s, 'high', g.limit, g.deadband, MIN, 5 * MIN),
    respondWithinMin: g.respondWithinMin,
    basis: `${g.source}. Delay: two samples, at least 1 min; ${UNTUNED}. ${PROTECTS}.`,
    class: 'safety',
    severity: g.severity,
    latching: true,
    protection: s.quantity === 'ozone' ? 'ozone-beacon' : 'h2s-beacon',
    where: ((stage) => (stage ? placeOf(stage) : 'the plant room'))(stageAt(site, s)),
  } as const
}

function ozone(site: Site, s: Signal, g: Gas): Draft {
  const { where, ...rest } = common(site, s, g)
  return {
    ...rest,
    what: g.kind === 'high' ? `Ozone in the air at ${where}` : `Dangerous ozone in the air at ${where}`,
    cause: 'A leak at generator, hose or injector, a blocked vent, or a spent off-gas destructor.',
    consequence: 'Irritates eyes and lungs within minutes; 5 ppm is immediately dangerous to life and health.',
    action: [
      "Yard, by phone: keep everybody out and upwind, put the sign 'entry blocked' up; switch the ozone generator off at its disconnect.",
      `At ${where}: ventilate from outside; go in only after a hand-held meter reads below 0.05 ppm.`,
      'At the generator: locked out, look for the leak; check vent and destructor.',
    ],
    confirm: 'Ventilated, measured below 0.05 ppm with a second meter, and written into the site log.',
    cautions: ['ozone', 'lockout'],
  }
}

function sulphide(site: Site, s: Signal, g: Gas): Draft {
  const { where, ...rest } = common(site, s, g)
  return {
    ...rest,
    what: g.kind === 'high' ? `Hydrogen sulphide at ${where}` : `Dangerous hydrogen sulphide at ${where}`,
    cause: 'The water has turned septic: no air, or sludge that has lain too long; or acid has reached it.',
    consequence: 'Poisons people; the nose goes blind to it. 100 ppm is immediately dangerous to life and health.',
    action: [
      "Yard, by phone: keep everybody out and upwind, put the sign 'entry blocked' up; stop washing and all acid dosing.",
      `At ${where}: do not lean over it. Ventilate from outside; nobody goes in without a permit, a meter and a second person.`,
      'Restore air to the tanks from outside the space.',
    ],
    confirm: 'Ventilated, measured below 1 ppm with a second meter, and written into the site log.',
    cautions: ['h2s', 'confined-space', 'dosing'],
  }
}
