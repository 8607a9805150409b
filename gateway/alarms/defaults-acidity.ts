/** pH of the biology. Limits are common practice, no source, and not yet tuned on data. */
import type { Signal, Site, Stage } from '../site/site.ts'
import { acidPumps, pumpName, stopFirst } from './defaults-dosing.ts'
import { capital, HOUR, limitRule, MIN, placeOf, PRACTICE, signalsOf, stageAt, washSignal, type Draft } from './draft.ts'

export const acidityAlarms = (site: Site): readonly Draft[] => signalsOf(site, 'ph').flatMap((s) => ph(site, s))

function ph(site: Site, s: Signal): readonly Draft[] {
  const stage = stageAt(site, s)
  if (!stage || (stage.kind !== 'treatment' && stage.kind !== 'bio')) return []
  const where = placeOf(stage)
  const dosed = acidPumps(site).filter((p) => p.pump.serves.length === 0 || p.pump.serves.includes(stage.id))
  const common = { stage: stage.id, class: 'process', latching: false, cautions: ['dosing', 'h2s'] } as const
  const high: readonly Draft[] = [
    {
      ...common,
      key: `${s.id}.rise`,
      rule: {
        kind: 'rate',
        signal: s.id,
        side: 'high',
        limit: 1.2,
        deadband: 0.6,
        spanMs: Math.max(HOUR / 2, 9 * s.sampleEveryMs),
        perMs: HOUR / 2,
        onDelayMs: 2 * s.sampleEveryMs,
        offDelayMs: HOUR / 2,
      },
      what: `Something alkaline has been washed into ${where}`,
      cause: 'A degreaser, caustic cleaner, cement or lime on the pad; bleach lifts pH less.',
      consequence: 'What is in it besides may kill the biology within hours; the missing dip of the next washes tells.',
      action: [
        'Yard, by phone: what is being washed, and with what? Stop that, and hold further washing.',
        `At ${where}: pH with a second meter; foam, smell; a sample kept cold.`,
        'No acid before it is known what it was: on bleach it makes chlorine gas.',
      ],
      confirm: 'pH is back, and the dips of the next three washes are as deep as predicted.',
      respondWithinMin: 240,
      basis: `A step of 0.8, which is a rate of 1.2 in half an hour: a can of degreaser lifts pH by 0.5 to 1.5 in ten minutes, ordinary washing and the pauses between doses by up to 0.7 (simulated loops). ${capital(PRACTICE)}.`,
      severity: 'major',
    },
    {
      ...common,
      key: `${s.id}.high`,
      rule: limitRule(s, 'high', 9, 0.1, HOUR, 10 * MIN),
      what: `${capital(where)} is alkaline`,
      cause: 'Alkaline detergent, cement or lime on the pad, dosing that has stopped, or a drifting probe.',
      consequence: 'The biology slows down; ammonia becomes more poisonous the higher the pH.',
      action: [
        'Wash log: concrete, lime or a strong cleaner on the pad?',
        `At ${where}: check the probe in buffer 7 and 10.`,
        'At the acid or alum drum: is there product, and does the pump stroke?',
      ],
      confirm: 'A second, hand-held reading agrees and is below {clear}.',
      respondWithinMin: 240,
      basis: `9.0 for 60 min: aerated hard water stands at 8.5 to 8.8 by itself (carbonate equilibrium at 20 C). ${capital(PRACTICE)}.`,
      severity: 'major',
    },
    {
      ...common,
      key: `${s.id}.high-high`,
      rule: limitRule(s, 'high', 9.5, 0.2, 20 * MIN, 10 * MIN),
      what: `${capital(where)} is far too alkaline`,
      cause: 'Caustic cleaner, cement or lime washed in; a base dosed without end; or a broken probe.',
      consequence: 'The biology is damaged within the hour.',
      action: [
        'Yard, by phone: stop washing; what was washed and with what?',
        `At ${where}: check with a second pH meter before anything is dosed.`,
        'Fresh water or a planned, small acid dose by a person on site; never acid into a septic or bleach-treated tank.',
      ],
      confirm: 'A second, hand-held reading is below {clear}.',
      respondWithinMin: 30,
      basis: `9.5 for 20 min. ${capital(PRACTICE)}.`,
      severity: 'major',
    },
  ]
  const low: readonly Draft[] = [
    {
      ...common,
      key: `${s.id}.low`,
      rule: limitRule(s, 'low', 6.5, 0.1, 10 * MIN, 10 * MIN),
      what: `${capital(where)} turns acid`,
      cause:
        dosed.length > 0
          ? 'Too much acid or alum dosed, alkalinity used up by nitrification, or a drifting probe.'
          : 'Alkalinity used up by nitrification, an acid cleaner, or a drifting probe.',
      consequence: 'Nitrification stops first; below 5.5 the whole biology suffers.',
      action: [
        `At ${where}: check with a second pH meter and measure alkalinity.`,
        'Below 40 mg/L alkalinity: add bicarbonate in steps.',
        'At the dosing pump: compare strokes per day with last week.',
      ],
      confirm: 'A second, hand-held reading is above {clear}.',
      respondWithinMin: 240,
      basis: `6.5 for 10 min. ${capital(PRACTICE)}.`,
      severity: 'major',
    },
    {
      ...common,
      key: `${s.id}.low-low`,
      rule: limitRule(s, 'low', 5.5, 0.2, 15 * MIN, 5 * MIN),
      what: `${capital(where)} is acid`,
      cause: 'Acid or alum spilled or dosed without end, alkalinity gone; or the probe has lost its reference.',
      consequence: 'Nitrification has stopped; below pH 5 the biology dies within hours.',
      action: [
        ...(dosed.length > 0
          ? ['Yard, by phone: is the acid pump still? Ask them to switch it off at its disconnect.']
          : ['Yard, by phone: stop washing; was an acid cleaner used?']),
        `At ${where}: check with a second pH meter first: one probe alone cannot tell acid from a dead reference.`,
        'Hold the feed, keep the air on, add bicarbonate in steps to pH 6.8. No acid near a septic sump.',
      ],
      confirm: 'A second, hand-held reading is above {clear}.',
      respondWithinMin: 30,
      basis: `5.5 (nitrification stops: EPA 1975 as quoted in a University of Wisconsin text) for 15 min, longer than a dose takes to mix. Delay: ${PRACTICE}.`,
      severity: 'major',
    },
  ]
  const dosing = dosed.map(
    ({ pump, run }): Draft => ({
      ...common,
      key: `${s.id}.low-low-${pump.id}`,
      rule: limitRule(s, 'low', 5.5, 0.2, 5 * MIN, 5 * MIN, { signal: run.id }),
      what: `${capital(where)} is acid and ${pumpName(pump)} still runs`,
      protection: `${pump.doses}-max-run`,
      cause: 'The dosing relay is stuck or the pH probe is wrong, and no timer on site has stopped the pump.',
      consequence: 'Below pH 5 within minutes: the biology of the tank dies within hours, then that of the whole loop.',
      action: [
        stopFirst(site, pump),
        `At the ${pumpName(pump)}: lock it out, with goggles, face shield and gloves.`,
        'Hold the feed, keep the air on, add bicarbonate in steps. No acid near a septic sump.',
      ],
      confirm: 'The pump contact is open and a second pH meter reads above {clear}.',
      respondWithinMin: 10,
      basis: `pH below 5.5 while the pump runs without a pause for 5 min. Time: acid at 2 L/h takes a 2.3 m3 tank below pH 5 in 13 min (arithmetic). ${capital(PRACTICE)}.`,
      severity: 'severe',
    }),
  )
  return [...low, ...dosing, ...high, ...slow(site, s, stage)]
}

/** What goes on for weeks, seen by pH at rest. How far a dose moves pH would tell more, but seldom: pulses that are looked at once a minute cannot be timed. */
function slow(site: Site, s: Signal, stage: Stage): readonly Draft[] {
  const where = placeOf(stage)
  const wash = washSignal(site)
  const common = { stage: stage.id, class: 'process', severity: 'major', latching: false, cautions: ['dosing'], respondWithinMin: 24 * 60 } as const
  return [
    {
      ...common,
      key: `${s.id}.falling`,
      rule: {
        kind: 'drift',
        signal: s.id,
        side: 'low',
        perDay: -0.01,
        deadband: 0.005,
        spanMs: 21 * 24 * HOUR,
        onDelayMs: HOUR,
        offDelayMs: 24 * HOUR,
        ...(wash && { when: { idle: wash.id, idleForMs: 6 * HOUR } }),
      },
      what: `pH of ${where} falls week by week`,
      cause: 'Alkalinity is used up, or the reference of the electrode drifts: one electrode alone cannot tell them apart.',
      consequence: 'If it is the water, nitrification stops below 6.5; if it is the electrode, the dosing goes by a wrong figure.',
      action: [
        `At ${where}: put the electrode in buffer 7 and note what it read before calibration.`,
        `At ${where}: alkalinity with the kit; below 40 mg/L add bicarbonate in steps.`,
        'At the dosing pump: compare strokes per day with those of a month ago.',
      ],
      confirm: 'The electrode reads right in buffer, alkalinity is above 80 mg/L, and pH at rest no longer falls.',
      basis: `0.01 a day over three weeks at rest, 6 h or more after washing, the near end of the 95 % interval counted: a poisoned reference drifts 0.02 a day, water that loses its alkalinity 0.03. ${capital(PRACTICE)}.`,
    },
  ]
}
