/** pH of the biology. Limits are common practice, no source, and not yet tuned on data. */
import type { Signal, Site } from '../site/site.ts'
import { acidPumps, pumpName, stopFirst } from './defaults-dosing.ts'
import { capital, HOUR, limitRule, MIN, placeOf, PRACTICE, signalsOf, stageAt, type Draft } from './draft.ts'

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
  return [...low, ...dosing, ...high]
}
