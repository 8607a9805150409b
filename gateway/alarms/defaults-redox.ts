/**
 * Redox potential, judged by steps against its own median: between two probes of one kind 100 mV are common, and clean aerated water often stands above
 * 300 mV, so that a fixed limit says nothing. Limits are common practice, no source, and not yet tuned on data.
 */
import type { Signal, Site } from '../site/site.ts'
import { at, biology, machinesOf } from '../vitals/places.ts'
import { capital, HOUR, MIN, placeOf, PRACTICE, stageAt, type Draft } from './draft.ts'
import type { Condition } from './rule.ts'

const DAY = 24 * HOUR
const OWN_MEDIAN = { kind: 'median', spanMs: 7 * DAY, leastMs: 3 * DAY } as const

export function redoxAlarms(site: Site): readonly Draft[] {
  const all = site.signals.filter((s) => s.quantity === 'orp')
  return all.flatMap((s) => {
    const kind = stageAt(site, s)?.kind
    return kind === 'treatment' || kind === 'bio' ? steps(site, s) : kind === 'finished' ? oxidant(site, s) : []
  })
}

/** A redox potential means little without the electrode it is measured against. */
export const redoxWarnings = (site: Site): readonly string[] =>
  site.signals
    .filter((s) => s.quantity === 'orp' && !/Ag|calomel|hydrogen|SHE|KCl/.test(s.name))
    .map((s) => `signals.${s.id}: name does not say against which reference it reads: write it there, such as "Redox potential, bio tank 1 (Ag/AgCl)"`)

function steps(site: Site, s: Signal): readonly Draft[] {
  const stage = stageAt(site, s)
  if (!stage) return []
  const where = placeOf(stage)
  const oxygen = at(site, stage.id, 'do') ?? biology(site).flatMap((t) => at(site, t.id, 'do') ?? [])[0]
  const ozone = machinesOf(site, 'ozone').flatMap((e) => at(site, e.id, 'run') ?? [])[0]
  const step = { kind: 'deviation', signal: s.id, from: OWN_MEDIAN, as: 'difference', deadband: 40, withinMs: 2 * HOUR } as const
  const common = { stage: stage.id, class: 'process', latching: false } as const
  const out: Draft[] = []
  if (oxygen) {
    out.push({
      ...common,
      key: `${s.id}.fall`,
      // Joined and not gated: its median is learned while there is oxygen.
      rule: {
        kind: 'all-of',
        of: [
          { ...step, side: 'low', limit: -150 },
          { kind: 'limit', signal: oxygen.id, side: 'low', limit: 0.5, deadband: 0.3 },
        ],
        withinMs: 0,
        onDelayMs: 10 * MIN,
        offDelayMs: 30 * MIN,
      },
      what: `${capital(where)} turns septic`,
      cause: 'No air, or far more load than the air can carry, for hours.',
      consequence: 'Hydrogen sulphide forms next: smell, danger to whoever leans over, black water.',
      action: [
        'Yard, by phone: stop washing; is the blower running? Keep people away from a smelly tank.',
        'At the blower: pressure and current; restore air first, everything else after it.',
        `At ${where}: bubbles all over? Keep your head out; no acid near it.`,
      ],
      confirm: 'Oxygen is above 1 mg/L and redox potential is back within 100 mV of its median.',
      respondWithinMin: 120,
      severity: 'severe',
      cautions: ['h2s', 'confined-space', 'lockout', 'dosing'],
      basis: `150 mV below its own median of 7 days, got to within 2 h, with oxygen below 0.5 mg/L. ${capital(PRACTICE)}.`,
    })
  }
  const signs: readonly Condition[] = [
    ...(ozone ? [{ kind: 'state', signal: ozone.id, value: 1 } as const] : []),
    ...(oxygen ? [{ kind: 'rate', signal: oxygen.id, side: 'high', limit: 0.5, deadband: 0.2, spanMs: HOUR, perMs: HOUR } as const] : []),
  ]
  if (signs.length === 0) return out
  out.push({
    ...common,
    key: `${s.id}.rise`,
    rule: {
      kind: 'all-of',
      of: [
        { ...step, side: 'high', limit: 150 },
        { kind: 'any-of', of: signs },
      ],
      withinMs: 2 * HOUR,
      onDelayMs: 10 * MIN,
      offDelayMs: 30 * MIN,
    },
    what: `Something oxidising is in ${where}`,
    cause: ozone ? 'Bleach from the pad, or ozone carried back from the finished-water tank.' : 'Bleach or another oxidant from the pad.',
    consequence: 'It kills the biology within an hour or two.',
    action: [
      `Yard, by phone: stop washing; was bleach used?${ozone ? ' Ask them to switch the ozone generator off.' : ''}`,
      `At ${where}: a chlorine strip; keep the air on. No acid: on bleach it makes chlorine gas.`,
      'At the return line: does water flow back from the finished-water tank?',
    ],
    confirm: 'A chlorine strip shows nothing, and redox potential falls.',
    respondWithinMin: 30,
    severity: 'major',
    cautions: ['dosing', 'ozone'],
    basis: `150 mV above its own median of 7 days, got to within 2 h, with ${[...(ozone ? ['ozone on'] : []), ...(oxygen ? ['oxygen rising'] : [])].join(' or ')}. ${capital(PRACTICE)}.`,
  })
  return out
}

/** Finished water: the peak of each ozone run, so that a generator that rests at night raises nothing. */
function oxidant(site: Site, s: Signal): readonly Draft[] {
  const run = machinesOf(site, 'ozone').flatMap((e) => at(site, e.id, 'run') ?? [])[0]
  if (!run) return []
  return [
    {
      key: `${s.id}.weak`,
      stage: s.stage,
      rule: { kind: 'per-run', run: run.id, signal: s.id, take: 'max', side: 'low', limit: -150, deadband: 30, times: 2, leastRunMs: 30 * MIN, onDelayMs: 0, offDelayMs: 0 },
      what: 'Ozone no longer reaches the finished water',
      cause: 'Generator cell or air dryer worn, injector blocked, or water so dirty that it eats the ozone.',
      consequence: 'Smell and slime in the finished water within days.',
      action: [
        'At the ozone generator: lamp, current, air dryer; lock it out before you open it.',
        'At the injector: does it draw? Clean it.',
        'At the finished-water tank: clean the redox probe and check it in solution.',
      ],
      confirm: 'The next run brings redox potential to within 100 mV of what it used to reach.',
      respondWithinMin: 720,
      severity: 'minor',
      cautions: ['ozone', 'lockout'],
      class: 'equipment',
      latching: false,
      basis: `Highest value of two ozone runs, each 30 min or longer, 150 mV below the median of earlier runs. ${capital(PRACTICE)}.`,
    },
  ]
}
