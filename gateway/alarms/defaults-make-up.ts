/** Water that goes in without being washed with, or is lost: make-up meter, balance of the week, tanks at rest. Common practice, no source; not yet tuned on data. */
import { washSignal } from '../outlook/washed.ts'
import type { Site } from '../site/site.ts'
import { makeUpMeter, stageOf, washerSignal } from '../vitals/places.ts'
import { vitalsOf } from '../vitals/catalogue.ts'
import { capital, enumerate, HOUR, MIN, placeOf, PRACTICE, type Draft } from './draft.ts'
import type { Condition } from './rule.ts'

const DAY = 24 * HOUR
/** Between the levels that open and shut a make-up valve. Common practice, no source. */
const FILL_SHARE = 0.2
const common = { class: 'environment', latching: false, cautions: ['discharge', 'confined-space'] } as const

export function makeUpAlarms(site: Site): readonly Draft[] {
  return [...meter(site), ...lost(site)]
}

function meter(site: Site): readonly Draft[] {
  const s = makeUpMeter(site)
  const wash = washSignal(site)
  if (!s || s.quantity !== 'volume') return []
  const perUnit = s.unit === 'm3' ? 1000 : 1
  // A valve with two levels fills by batches of a fifth of the tank: two of them on one day are no leak.
  const batchL = FILL_SHARE * (stageOf(site, 'finished')?.volumeL ?? 0)
  const leastL = Math.max(1000, Math.round(2 * batchL))
  const rest = washerSignal(site, 'run') ?? wash?.signal
  const out: Draft[] = []
  if (rest) {
    out.push({
      ...common,
      key: `${s.id}.runs-on`,
      stage: s.stage,
      rule: {
        kind: 'rate',
        signal: s.id,
        side: 'high',
        limit: 150 / perUnit,
        deadband: 50 / perUnit,
        spanMs: HOUR,
        perMs: HOUR,
        onDelayMs: 30 * MIN,
        offDelayMs: 30 * MIN,
        when: { idle: rest.id, idleForMs: 2 * HOUR },
      },
      what: 'Make-up water runs although nobody washes',
      cause: 'Its valve or float is stuck open, or a tank or hose leaks as fast as it is filled.',
      consequence: 'The finished-water tank runs over in 3 to 6 h: water and money lost, and a release if it finds a drain.',
      action: [
        'Yard, by phone: shut the make-up valve by hand; is water on the ground?',
        'At the finished-water tank: float and valve; free or replace them.',
        'At the containment and hoses: where does the water go?',
      ],
      confirm: 'The meter stands still while nobody washes.',
      respondWithinMin: 180,
      severity: 'major',
      basis: `More than 150 L/h over an hour, 2 h or more after the last wash, for 30 min: by then the tank is filled up. ${capital(PRACTICE)}.`,
    })
  }
  if (wash) {
    out.push({
      ...common,
      key: `${s.id}.day`,
      stage: s.stage,
      rule: { kind: 'day-total', signal: s.id, wash: wash.signal.id, factor: 2, least: leastL / perUnit, onDelayMs: 0, offDelayMs: HOUR },
      what: 'Twice the make-up water that the washing asks for',
      cause: 'A leak, a stuck valve or float, a tank emptied and filled, or much water carried off.',
      consequence: 'The loop is diluted and water is paid for twice; the lost water may be in the ground.',
      action: [
        'Site log: was a tank emptied, cleaned or filled yesterday?',
        'At the tanks, hoses and containment: look for water.',
        'At the make-up valve: shut, does the meter stand still?',
      ],
      confirm: 'The next day takes what this loop usually takes.',
      respondWithinMin: 720,
      severity: 'minor',
      basis: `In 24 h more than twice what this loop usually takes for as much washing, and more than ${leastL} L. ${capital(PRACTICE)}.`,
    })
  }
  return out
}

function lost(site: Site): readonly Draft[] {
  const seen = new Set(vitalsOf(site).flatMap((v) => (v.unobservable === null ? [v.id] : [])))
  const out: Draft[] = []
  const watched = site.stages.filter((t) => seen.has(`${t.id}.leak`))
  const rest = watched.map((t): Condition => ({ kind: 'limit', signal: `${t.id}.leak`, side: 'high', limit: 15, deadband: 5, end: 'low' }))
  if (rest.length > 0) {
    const where = enumerate(watched.map(placeOf))
    out.push({
      ...common,
      key: 'water.leak',
      stage: watched.length === 1 ? (watched[0]?.id ?? null) : null,
      rule: { kind: 'any-of', of: rest, onDelayMs: 0, offDelayMs: 0 },
      what: 'Water is lost from a tank at rest',
      cause: 'A leak in tank, hose or valve; a check valve that lets water run back.',
      consequence: 'At 15 L/h a cubic metre in three days, into the bund or into the ground.',
      action: [
        `At ${where} and the containment: look for water, by torch under the tank.`,
        'At valves and hoses: shut one after the other overnight and compare.',
        'Site log: write down what was found.',
      ],
      confirm: 'The next quiet night loses less than 10 L/h.',
      respondWithinMin: 720,
      severity: 'major',
      basis: `More than 15 L/h from ${where} in a quiet night of 3 h or more with all pumps off, the near end of the interval counted. ${capital(PRACTICE)}.`,
    })
  }
  if (seen.has('water.lost')) {
    out.push({
      ...common,
      key: 'water.lost.more',
      stage: null,
      rule: {
        kind: 'deviation',
        signal: 'water.lost',
        from: { kind: 'median', spanMs: 60 * DAY, leastMs: 28 * DAY },
        as: 'ratio',
        side: 'high',
        limit: 1.5,
        deadband: 0.2,
        onDelayMs: DAY,
        offDelayMs: DAY,
      },
      what: 'More water is lost in a week than usual',
      cause: 'A leak, more water carried off on the vehicles, or a tank that runs over unseen.',
      consequence: 'More make-up water, and untreated water where it should not be.',
      action: [
        'Site log: blowdown, haul-off or cleaning that nobody wrote down?',
        'At the pad: is water carried off by another kind of vehicle?',
        'At tanks and hoses: look for water.',
      ],
      confirm: 'The week after is back to what is usual.',
      respondWithinMin: 1440,
      severity: 'minor',
      basis: `Balance of 7 days half again as large as its own median of 60 days, for a day. ${capital(PRACTICE)}.`,
    })
  }
  return out
}
