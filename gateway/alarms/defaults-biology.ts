/**
 * How the biology is doing, from computed signals: the dip of a wash against the one predicted, the way back after it, uptake against earlier
 * tests of the same kind. Oxygen that is high is no alarm: an idle loop stands near saturation all night. Limits are common practice, no source.
 */
import type { Signal, Site, Stage } from '../site/site.ts'
import { aeratorsOf, at, biology, stageOf, transferRuns, washerSignal } from '../vitals/places.ts'
import { vitalsOf } from '../vitals/catalogue.ts'
import { capital, HOUR, placeOf, PRACTICE, type Draft } from './draft.ts'
import type { Condition } from './rule.ts'

const DAY = 24 * HOUR
const MONTH = 30 * DAY
/** Uptake is halved after a week without food and the culture damaged after ten days to two weeks (common practice, no source). */
const UNFED_MS = 10 * DAY
/** What is told at once when it is told: a vital has waited for its evidence already. */
const AT_ONCE = { onDelayMs: 0, offDelayMs: 0 } as const

export function biologyAlarms(site: Site): readonly Draft[] {
  const seen = new Set(vitalsOf(site).flatMap((v) => (v.unobservable === null ? [v.id] : [])))
  // The first tank that is fed says it first; in those behind it the same food spills over later, and dips are too small to judge.
  const stage = biology(site).find((s) => seen.has(`${s.id}.dip`)) ?? biology(site).find((s) => seen.has(`${s.id}.uptake.like`))
  return [
    ...(stage ? [...dips(site, stage, seen), ...(tested(site, stage) ? uptake(stage, seen) : [])] : []),
    ...unfed(site),
    ...site.signals.filter((s) => s.quantity === 'turbidity').flatMap((s) => cloudy(site, s)),
  ]
}

const common = { class: 'process', severity: 'major', latching: false, cautions: ['h2s', 'confined-space', 'lockout'] } as const

function dips(site: Site, stage: Stage, seen: ReadonlySet<string>): readonly Draft[] {
  const where = placeOf(stage)
  const out: Draft[] = []
  if (seen.has(`${stage.id}.recovery`)) {
    out.push({
      ...common,
      key: `${stage.id}.recovery.high`,
      stage: stage.id,
      rule: { kind: 'limit', signal: `${stage.id}.recovery`, side: 'high', limit: 179, deadband: 19, ...AT_ONCE },
      what: `${capital(where)} has not recovered 3 h after washing`,
      cause: 'More load than air: a heavy or chemical wash, fouled diffusers, a tired blower.',
      consequence: 'Treatment falls behind; washing on top of it turns the tank septic within the day.',
      action: [
        'Wash log: what was washed today, and with what? Hold the heavy vehicles back until oxygen is up.',
        'At the blower: read the pressure; higher than when new means fouled diffusers, lower a leak.',
        `At ${where}: look for an even bubble pattern and white foam; wipe the probe and read it in air.`,
      ],
      confirm: 'After the next wash oxygen is back within 1 mg/L of its idle value in 3 h.',
      respondWithinMin: 240,
      basis: `Not back within 1 mg/L of what it was at rest before, 3 h after the last wash of 1.5 mg/L dip or more. ${capital(PRACTICE)}.`,
    })
  }
  if (!seen.has(`${stage.id}.dip`)) return out
  const dip = { kind: 'limit', signal: `${stage.id}.dip`, side: 'low', deadband: 10 } as const
  const missing = {
    ...common,
    stage: stage.id,
    cause: 'The biology eats less than it should: something poisonous was washed (degreaser, bleach), acid, cold, or weeks without food. Oxygen that stays high is no good news.',
    confirm: 'The dips of the next three washes are as deep as predicted.',
  }
  out.push({
    ...missing,
    key: `${stage.id}.dip.low`,
    rule: { ...dip, limit: 40, ...AT_ONCE },
    what: `${capital(where)} hardly breathes while vehicles are washed`,
    consequence: 'Dirt and detergent pass through; the finished water clouds within a day or two.',
    action: [
      'Wash log: degreaser, bleach or another unusual wash in the last two days?',
      `At ${where}: read pH and temperature by hand, look at colour and foam; note both in the site log.`,
      'At the blower: an air-off test at a quiet hour, 6 h after washing, tells biology from probe.',
    ],
    respondWithinMin: 720,
    basis: `Dip of the newest three wash blocks, or 2 m3, below 40 % of the dip predicted from what was washed and the water temperature. ${capital(PRACTICE)}.`,
  })
  const signs = otherSigns(site)
  if (signs.length === 0) return out
  out.push({
    ...missing,
    key: `${stage.id}.dip.poisoned`,
    rule: {
      kind: 'all-of',
      of: [
        { ...dip, limit: 25 },
        { kind: 'any-of', of: signs },
      ],
      withinMs: DAY,
      ...AT_ONCE,
    },
    what: `The biology of ${where} is being killed, or is dead`,
    consequence: 'Without a biology the loop only dilutes: foul finished water in days, weeks to grow anew.',
    action: [
      'Yard, by phone, in the day: stop washing and stop feeding; what was washed, with what, since yesterday?',
      `At ${where}: sample and keep it cold; pH, chlorine strip, colour, smell. Air stays on.`,
      'At the ozone generator: off until redox potential is back; order fresh culture.',
    ],
    respondWithinMin: 720,
    severity: 'severe',
    basis: `Dip below 25 % of the predicted one, and within a day of it a second sign: redox potential 150 mV above or turbidity twice its own median, or pH above 9 or below 6. Nothing is won at night. ${capital(PRACTICE)}.`,
  })
  return out
}

/** What else moves when a biology is poisoned: redox potential and turbidity against their own past, pH out of what a biology bears. */
function otherSigns(site: Site): readonly Condition[] {
  const tanks = biology(site).map((s) => s.id)
  const of = (q: Signal['quantity']): readonly Signal[] => site.signals.filter((s) => s.quantity === q && s.at !== null && tanks.includes(s.at))
  const median = { kind: 'median', spanMs: 7 * DAY, leastMs: 3 * DAY } as const
  return [
    ...of('orp').map((s): Condition => ({ kind: 'deviation', signal: s.id, from: median, as: 'difference', side: 'high', limit: 150, deadband: 30 })),
    ...of('ph').flatMap((s): readonly Condition[] => [
      { kind: 'limit', signal: s.id, side: 'high', limit: 9, deadband: 0.1 },
      { kind: 'limit', signal: s.id, side: 'low', limit: 6, deadband: 0.1 },
    ]),
    ...site.signals
      .filter((s) => s.quantity === 'turbidity')
      .map(
        (s): Condition => ({
          kind: 'deviation',
          signal: s.id,
          from: { ...median, spanMs: MONTH, leastMs: 7 * DAY },
          as: 'ratio',
          side: 'high',
          limit: 2,
          deadband: 0.2,
        }),
      ),
  ]
}

/** Nobody has washed for so long that the biology goes hungry: a matter for the due list, and known without any probe. */
function unfed(site: Site): readonly Draft[] {
  const first = biology(site)[0]
  const wash = washerSignal(site, 'volume') ?? washerSignal(site, 'run')
  if (!first || !wash) return []
  return [
    {
      ...common,
      key: 'site.unfed',
      stage: first.id,
      rule: { kind: 'stuck', signal: wash.id, change: wash.resolution > 0 ? wash.resolution : 1, forMs: UNFED_MS, through: null, restsLow: null, restsHigh: null, ...AT_ONCE },
      what: 'Not washed for ten days: the biology goes hungry',
      cause: 'Holidays, no work, or a washer that is out of order and nobody has said so.',
      consequence: 'After 10 to 14 days without food the biology is damaged: the first wash then gets half the treatment.',
      action: [
        'Yard, by phone: when is washing to go on? Longer than a week: say "resting" on the loop page.',
        'At the nutrient pump: does it dose, is there product? Feed by the site procedure if the pause goes on.',
        'Before the first wash: begin with a light day, and look at the dip.',
      ],
      confirm: 'Washing goes on, and the dips of the first days come back.',
      respondWithinMin: 2 * 24 * 60,
      basis: `Ten days without washing. ${capital(PRACTICE)}.`,
      alert: true,
    },
  ]
}

/** A timer stops the air now and then: only then are there tests to compare, like with like. */
const tested = (site: Site, stage: Stage): boolean => aeratorsOf(site, stage.id).some((e) => e.longestPlannedOffMs > 0)

function uptake(stage: Stage, seen: ReadonlySet<string>): readonly Draft[] {
  const id = `${stage.id}.uptake.like`
  if (!seen.has(id)) return []
  const where = placeOf(stage)
  const one = {
    ...common,
    stage: stage.id,
    cause: 'Fewer microbes at work, or idle ones: poison, acid, cold beyond what was corrected, weeks without food, or carried away with the water.',
    confirm: 'The next air-off test of the same hour, 6 h after washing, is within a third of the usual.',
    respondWithinMin: 720,
  }
  const action = [
    'Wash log: an unusual wash, or no washing for weeks?',
    `At ${where}: pH, temperature, colour and smell by hand; wipe the oxygen probe and read it in air.`,
    'At the drums of culture and nutrient: is there product, and does it reach the tank?',
  ]
  return [
    {
      ...one,
      key: `${stage.id}.uptake.low`,
      rule: { kind: 'limit', signal: id, side: 'low', limit: 60, deadband: 10, nOfM: { n: 3, m: 3, clearN: 1, clearM: 1 }, ...AT_ONCE },
      what: `${capital(where)} breathes less than it used to`,
      consequence: 'Treatment gets slower week by week; a heavy day will not be digested.',
      action,
      basis: `Three air-off tests in a row below 60 % of the median of the last ten like them: same hour, 6 h or more after washing, at 20 C. ${capital(PRACTICE)}.`,
    },
    {
      ...one,
      key: `${stage.id}.uptake.low-low`,
      rule: { kind: 'limit', signal: id, side: 'low', limit: 30, deadband: 10, end: 'high', ...AT_ONCE },
      what: `${capital(where)} hardly breathes at all`,
      consequence: 'The biology is damaged or lost: foul finished water in days, weeks to grow anew.',
      action: ['Yard, by phone: stop washing; what was washed, and with what, since the last test?', ...action.slice(1)],
      severity: 'severe',
      basis: `One air-off test below 30 % of the median of the last ten like it, the far end of its interval included, so that a poor test raises nothing. ${capital(PRACTICE)}.`,
    },
  ]
}

function cloudy(site: Site, s: Signal): readonly Draft[] {
  const stage = stageOf(site, 'finished')
  if (!stage || at(site, stage.id, 'turbidity')?.id !== s.id) return []
  const moves = transferRuns(site)[0]
  // Bubbles are gone from the middle of three readings.
  const smoothMs = Math.max(HOUR / 12, 2 * s.sampleEveryMs)
  return [
    {
      ...common,
      key: `${s.id}.cloudy`,
      stage: stage.id,
      rule: {
        kind: 'all-of',
        of: [
          {
            kind: 'deviation',
            signal: s.id,
            from: { kind: 'median', spanMs: MONTH, leastMs: 7 * DAY },
            as: 'ratio',
            side: 'high',
            limit: 2,
            deadband: 0.2,
            medianOverMs: smoothMs,
          },
          { kind: 'limit', signal: s.id, side: 'high', limit: 15, deadband: 3, medianOverMs: smoothMs },
        ],
        withinMs: 0,
        onDelayMs: 2 * HOUR,
        offDelayMs: HOUR,
        ...(moves && { when: { after: { signal: moves.id, withinMs: HOUR } } }),
      },
      what: 'The finished water is cloudy',
      cause: 'Torn or bypassed paper, a biology that lets go of its solids, or sludge stirred up.',
      consequence: 'Nozzles wear, vehicles dry with spots, ozone is used up by dirt.',
      action: [
        'At the paper filter: is the paper torn or the water standing on it? Advance it.',
        'At the finished-water tank: a glass of it against the light; clean the window of the probe.',
        'Wash log: a degreaser or much soil in the last two days?',
      ],
      confirm: 'A glass of finished water is clear, and the reading is below 15 NTU.',
      cautions: ['lockout', 'aerosol'],
      respondWithinMin: 720,
      basis: `Above twice its own median of 30 days and above 15 NTU for 2 h while the water goes round, by medians of 5 min: bubbles are no dirt. ${capital(PRACTICE)}.`,
    },
  ]
}
