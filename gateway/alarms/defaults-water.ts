/** Water: enough to wash with, and none on the ground. Limits are common practice, no source, and not yet tuned on data. */
import type { Signal, Site, Stage } from '../site/site.ts'
import { capital, limitRule, MIN, placeOf, PRACTICE, signalsOf, stageAt, stateRule, type Draft } from './draft.ts'

/** Taken where the site file gives no lance, L/min. */
const LANCE_L_PER_MIN = 23
/** Level at which the pump draws air, percent. */
export const EMPTY_PCT = 10

export function waterAlarms(site: Site): readonly Draft[] {
  return [...signalsOf(site, 'level').flatMap((s) => level(site, s)), ...signalsOf(site, 'float').flatMap((s) => float(site, s))]
}

function level(site: Site, s: Signal): readonly Draft[] {
  const stage = stageAt(site, s)
  if (stage?.kind === 'finished') return finished(site, s, stage)
  if (stage?.kind === 'sump') return sump(site, s, stage)
  return []
}

const noWater = {
  class: 'process',
  severity: 'major',
  latching: false,
  cause: 'More washed than comes back: transfer pump stopped or air-locked, paper filter blinded, make-up valve shut, or a leak.',
  confirm: 'The level rises while nobody washes.',
  cautions: ['lockout', 'aerosol'],
} as const

function finished(site: Site, s: Signal, stage: Stage): readonly Draft[] {
  const lance = site.stages.find((x) => x.kind === 'washer')?.lanceLPerMin ?? null
  const volumeL = stage.volumeL
  const action = (first: string): readonly string[] => [
    first,
    'At the transfer pump: running? Warm and humming without flow means air-locked or a blocked strainer: lock it out and clear it.',
    'At the paper filter: water standing on the paper means it is blinded: advance it. Then the make-up valve: open and with pressure?',
  ]
  const rows = [
    { kind: 'low', min: 30, respond: 30, severity: 'minor', first: 'Yard, by phone: how much washing is still planned today?', say: 'less than 30 min of washing left' },
    {
      kind: 'low-low',
      min: 10,
      respond: 10,
      severity: 'major',
      first: 'Yard, by phone: finish the vehicle in hand and stop; the washer must not run dry.',
      say: 'less than 10 min of washing left',
    },
  ] as const
  return rows.map((r): Draft => {
    const byTime = volumeL !== null
    const pct = r.kind === 'low' ? 20 : 12
    return {
      ...noWater,
      key: `${s.id}.${r.kind}`,
      stage: stage.id,
      rule: byTime
        ? {
            kind: 'water-left',
            level: s.id,
            volumeL: Math.round(volumeL),
            lanceLPerMin: lance ?? LANCE_L_PER_MIN,
            emptyPct: EMPTY_PCT,
            belowMin: r.min,
            deadbandMin: r.kind === 'low' ? 10 : 5,
            onDelayMs: Math.max(2 * MIN, 2 * s.sampleEveryMs),
            offDelayMs: Math.max(2 * MIN, 2 * s.sampleEveryMs),
          }
        : limitRule(s, 'low', pct, 2, 2 * MIN, 2 * MIN, { open: true }),
      what: byTime ? `Finished water ${r.kind === 'low' ? 'low' : 'almost gone'}: ${r.say}` : `Finished water below ${pct} %`,
      consequence: r.kind === 'low' ? 'Washing stops soon; whoever is on the pad will call.' : 'Washing stops; a washer pump that runs dry burns its seals in minutes.',
      action: action(r.first),
      respondWithinMin: r.respond,
      severity: r.severity,
      ...(r.kind === 'low-low' && { protection: 'finished-low-low' }),
      basis: byTime
        ? `Minutes at ${lance ?? LANCE_L_PER_MIN} L/min${lance === null ? ' (no lance in the site file)' : ''} above ${EMPTY_PCT} % of ${Math.round(volumeL)} L, judged in opening hours and the hour before. ${capital(PRACTICE)}.`
        : `Percent, because the volume of the tank is not in the site file; judged in opening hours. ${capital(PRACTICE)}.`,
    }
  })
}

const overflow = {
  class: 'environment',
  latching: false,
  cautions: ['h2s', 'confined-space', 'lockout', 'discharge'],
  cause: 'Transfer pump stopped, air-locked or tripped; float or strainer stuck; or a storm on an open pad.',
} as const

const overflowAction = (stage: Stage): readonly string[] => [
  'Yard, by phone: stop washing now and keep water off the pad; is it raining there?',
  'At the transfer pump: selector in auto, overload, strainer. Lock it out before you open anything.',
  `At ${placeOf(stage)}: pump out by the site procedure, never to a storm drain. Nobody climbs in.`,
]

function sump(site: Site, s: Signal, stage: Stage): readonly Draft[] {
  // A float of its own says "almost full" as well: the level is then only the earlier word of the two.
  const floated = site.signals.some((x) => x.quantity === 'float' && x.at === stage.id && x.id.endsWith('.high'))
  const common = { ...overflow, stage: stage.id, action: overflowAction(stage), confirm: 'The level falls while the transfer pump runs.' }
  return [
    {
      ...common,
      key: `${s.id}.high`,
      rule: limitRule(s, 'high', 80, 5, MIN, MIN),
      what: 'Sump almost full',
      consequence: 'It runs over in about 17 min at 23 L/min when nothing is done.',
      respondWithinMin: 17,
      severity: floated ? 'minor' : 'major',
      basis: `80 %${floated ? '; its float speaks louder' : ''}. Time: 380 L of head-room at 23 L/min (arithmetic). ${capital(PRACTICE)}.`,
    },
    {
      ...common,
      key: `${s.id}.high-high`,
      rule: limitRule(s, 'high', 95, 3, MIN, MIN),
      what: 'Sump about to run over',
      consequence: 'Untreated wash water reaches the ground or the storm drain: a release that may have to be reported.',
      respondWithinMin: 5,
      severity: 'severe',
      protection: 'sump-high-high',
      basis: `95 %. ${capital(PRACTICE)}.`,
    },
  ]
}

/** Floats: `high` and `high-high` speak when wet, `low` when dry (the water has fallen below it), `leak` when wet. */
function float(site: Site, s: Signal): readonly Draft[] {
  const stage = stageAt(site, s)
  const name = s.id.slice(s.id.lastIndexOf('.') + 1)
  if (name === 'leak' || s.at === null) {
    if (name !== 'leak') return []
    return containment(site, s, stage)
  }
  if (stage?.kind === 'sump' && (name === 'high' || name === 'high-high')) {
    const top = name === 'high-high'
    return [
      {
        ...overflow,
        key: `${s.id}.wet`,
        stage: stage.id,
        rule: stateRule(s, 1, MIN, 2 * MIN),
        what: top ? 'Sump about to run over' : signalsOf(site, 'level').some((l) => l.at === stage.id) ? 'High float of the sump is wet' : 'Sump almost full',
        consequence: top
          ? 'Untreated wash water reaches the ground or the storm drain: a release that may have to be reported.'
          : 'It runs over in about 17 min at 23 L/min when nothing is done.',
        action: overflowAction(stage),
        confirm: 'The float is dry again while the transfer pump runs.',
        respondWithinMin: top ? 5 : 17,
        severity: top ? 'severe' : 'major',
        ...(top && { protection: 'sump-high-high' }),
        basis: `Float wet for 60 s. ${capital(PRACTICE)}.`,
      },
    ]
  }
  if (stage?.kind === 'finished' && name === 'low') {
    return [
      {
        ...noWater,
        key: `${s.id}.dry`,
        stage: stage.id,
        rule: stateRule(s, 0, 2 * MIN, 2 * MIN),
        what: 'Finished water low',
        consequence: 'Washing stops soon; a washer pump that runs dry burns its seals in minutes.',
        action: [
          'Yard, by phone: finish the vehicle in hand and stop washing.',
          'At the transfer pump: running? Warm and humming without flow means air-locked or a blocked strainer: lock it out and clear it.',
          'At the paper filter: water standing on the paper means it is blinded: advance it. Then the make-up valve: open and with pressure?',
        ],
        confirm: 'The float is wet again while nobody washes.',
        respondWithinMin: 10,
        protection: 'finished-low-low',
        basis: `Float dry for 2 min; how many minutes are left depends on where it hangs. ${capital(PRACTICE)}.`,
      },
    ]
  }
  return []
}

/** Rain within this long says where water in a bund comes from. Common practice, no source. */
const RAIN_MS = 6 * 60 * MIN

/** Where rain is measured, water in the bund after it is work for the day; without rain it is a leak or an overflow. */
function containment(site: Site, s: Signal, stage: Stage | null): readonly Draft[] {
  const rain = signalsOf(site, 'rain')[0]
  const common = { ...overflow, stage: stage?.id ?? null, latching: true, protection: 'overflow-bund' } as const
  const wet = { kind: 'state', signal: s.id, value: 1, onDelayMs: MIN, offDelayMs: 5 * MIN } as const
  const stays = 'Stays until a person has looked, because a dry float does not say where the water went'
  const dry: Draft = {
    ...common,
    key: `${s.id}.wet`,
    rule: rain ? { ...wet, when: { idle: rain.id, idleForMs: RAIN_MS } } : wet,
    what: 'Water in the containment',
    cause: rain ? 'A leak or an overflow of a tank or hose: it has not rained for 6 h.' : 'A leak or an overflow of a tank or hose; or rain in the bund.',
    consequence: 'When the containment is full, untreated water reaches the soil or a storm drain.',
    action: [
      `Yard, by phone: ${rain ? 'stop washing' : 'has it rained in the last 6 h? If not, stop washing'} and switch the transfer pump off.`,
      'At the containment: find where it comes from; take a sample before anything is pumped.',
      'Pump out by the site procedure: rain water and wash water go different ways.',
    ],
    confirm: 'The float is dry after pumping out and stays dry for an hour.',
    respondWithinMin: 15,
    severity: 'severe',
    basis: `Wet for 60 s${rain ? ' and no rain for 6 h' : ''}. ${stays}. ${capital(PRACTICE)}.`,
  }
  if (!rain) return [dry]
  return [
    dry,
    {
      ...common,
      key: `${s.id}.rain`,
      rule: { ...wet, when: { after: { signal: rain.id, withinMs: RAIN_MS } } },
      what: 'Rain water in the containment',
      cause: 'Rain in the bund; a leak would look the same.',
      consequence: 'A bund that is full of rain holds nothing when a tank runs over.',
      action: [
        'At the containment: look whether any of it comes from a tank or hose; take a sample.',
        'Pump out by the site procedure: rain water and wash water go different ways.',
      ],
      confirm: 'The float is dry.',
      respondWithinMin: 240,
      severity: 'major',
      basis: `Wet for 60 s and rain within 6 h. ${stays}. ${capital(PRACTICE)}.`,
    },
  ]
}
