/** Power, panel, paper, frost, heat and the link. Limits are common practice, no source, and not yet tuned on data. */
import type { Signal, Site } from '../site/site.ts'
import { capital, HOUR, limitRule, MIN, placeOf, PRACTICE, signalsOf, stageAt, stateRule, type Draft } from './draft.ts'

export function panelAlarms(site: Site): readonly Draft[] {
  return [
    silent(),
    ...signalsOf(site, 'present').map(mains),
    ...signalsOf(site, 'trip').map((s) => trip(site, s)),
    ...signalsOf(site, 'end').map((s) => paperEnd(site, s)),
    ...signalsOf(site, 'auto').map((s) => selector(site, s)),
    ...frost(site),
    ...signalsOf(site, 'temperature').flatMap((s) => heat(site, s)),
  ]
}

function silent(): Draft {
  return {
    key: 'site.silent',
    stage: null,
    rule: { kind: 'silent', afterMs: 2 * HOUR },
    what: 'Nothing heard of this loop for 2 h',
    cause: 'Radio link, SIM card or data plan, controller, or its power: from here these cannot be told apart.',
    consequence: 'We are blind: if the power is off the treatment unit is without oxygen within 6 to 80 min of it.',
    action: [
      'Fleet page: are other loops silent too? Then it is the network or us.',
      'Yard, by phone: is there power, is the blower heard, is the controller lit?',
      'At the panel: modem lights, aerial, fuse of the controller; restart the modem once.',
    ],
    confirm: 'Readings with a fresh time arrive.',
    respondWithinMin: 120,
    cautions: ['electricity'],
    basis: `Shown as silent after three reports + 10 s; asked of a person after 2 h, because most gaps close by themselves. ${capital(PRACTICE)}.`,
    class: 'system',
    severity: 'minor',
    latching: false,
  }
}

function mains(s: Signal): Draft {
  return {
    key: `${s.id}.absent`,
    stage: null,
    rule: stateRule(s, 0, 15 * MIN, MIN),
    what: 'No mains power for 15 min',
    cause: 'A power cut in the area, a tripped main breaker or residual-current device.',
    consequence: 'No air: the treatment unit is without oxygen in 6 to 80 min, the bio tanks in hours; then the water turns septic.',
    action: [
      'Yard, by phone: is the whole yard dark, or only the plant? Whole yard: ask the utility how long.',
      'At the panel: only a qualified person resets a breaker, once; a residual-current trip means water or a damaged cable.',
      'When power is back, air first: check that the blower runs, then levels, transfer, dosing, ozone, washing.',
    ],
    confirm: 'Mains present and the blower runs again.',
    respondWithinMin: 60,
    cautions: ['electricity', 'lockout'],
    basis: `15 min: most cuts restore themselves. Times to no oxygen: arithmetic on a reference loop. ${capital(PRACTICE)}.`,
    class: 'equipment',
    severity: 'major',
    latching: false,
    protection: 'restart-after-power',
  }
}

function trip(site: Site, s: Signal): Draft {
  const machine = site.equipment.find((e) => e.id === s.at)
  return {
    key: `${s.id}.tripped`,
    stage: s.stage,
    rule: stateRule(s, 1, MIN, MIN),
    what: machine ? `${machine.name} has tripped` : 'A machine has tripped',
    cause: 'Overload, lost phase, dry running or a seized pump: the motor protection has acted.',
    consequence: machine ? `${machine.name} stands still, and what depends on it.` : 'One of pump, blower or washer stands still; which one is seen only at the panel.',
    action: [
      `Yard, by phone: ${machine ? `is ${machine.name.toLowerCase()} still?` : 'which lamp is lit on the panel, and is the blower heard?'}`,
      'At the panel: lock out, find the reason, feel the motor; reset once. A second trip needs an electrician.',
    ],
    confirm: 'The trip signal is gone and the machine runs for 15 min.',
    respondWithinMin: 30,
    cautions: ['lockout', 'electricity'],
    basis: `The trip bit for 60 s. ${capital(PRACTICE)}.`,
    class: 'equipment',
    severity: 'major',
    latching: false,
  }
}

function paperEnd(site: Site, s: Signal): Draft {
  const stage = stageAt(site, s)
  return {
    key: `${s.id}.reached`,
    stage: stage?.id ?? s.stage,
    rule: stateRule(s, 1, MIN, 5 * MIN),
    // A roll is followed by its forecast and stands in the due list; nobody is called for it.
    alert: true,
    what: 'Paper roll at its end',
    cause: 'The roll is used up.',
    consequence: 'Water bypasses the filter or stands on it; solids reach the biology within hours of washing.',
    action: [
      `At ${stage ? placeOf(stage) : 'the paper filter'}: lock out the drive, put in a new roll, empty the sludge box.`,
      'Write the new roll into the site log, or its forecast stays wrong.',
    ],
    confirm: 'The end switch is free and the paper advances.',
    respondWithinMin: 240,
    cautions: ['lockout'],
    basis: `End switch for 60 s. ${capital(PRACTICE)}.`,
    class: 'equipment',
    severity: 'major',
    latching: false,
  }
}

function selector(site: Site, s: Signal): Draft {
  const machine = site.equipment.find((e) => e.id === s.at)
  return {
    key: `${s.id}.off`,
    stage: s.stage,
    rule: stateRule(s, 0, HOUR, MIN),
    what: machine ? `${machine.name}: selector in hand or off` : 'Panel selector in hand or off',
    cause: 'Left so after a visit, or somebody works there.',
    consequence: 'What it controls runs without its interlocks, or not at all.',
    action: ['Yard, by phone: is somebody working at the panel? If not, ask what the selector says.'],
    confirm: 'The selector is in auto.',
    respondWithinMin: 240,
    cautions: ['lockout'],
    basis: `One hour: the commonest cause of trouble after a visit. ${capital(PRACTICE)}.`,
    class: 'equipment',
    severity: 'minor',
    latching: false,
    alert: true,
  }
}

/** Where only the air outside is measured it is frost again every night of a cold spell, and the same work: one call for each spell. Common practice, no source. */
const FROST_OVER_MS = 7 * 24 * HOUR

/** Lance, gauge lines and filter shed freeze hours before a tank does, so the cabinet is watched and not the water. */
function frost(site: Site): readonly Draft[] {
  const airs = signalsOf(site, 'temperature').filter((s) => stageAt(site, s) === null)
  const cabinet = airs.find((s) => /cabinet|panel|shed|room/.test(s.id))
  const ambient = airs.find((s) => /ambient|outside|air|weather/.test(s.id))
  const common = {
    stage: null,
    cause: 'Frost, and a heater that is off, tripped or was never fitted.',
    class: 'equipment',
    severity: 'major',
    latching: false,
    cautions: ['lockout', 'jet'],
    confirm: 'The heater is warm and the temperature rises.',
  } as const
  const action = [
    'Yard, by phone: is the heater of the cabinet warm and its switch on?',
    'At the washer: drain lance, hose and pump; bleed the pressure first.',
    'At the filter shed: open the drain cocks of gauge lines and the feed pipe.',
  ]
  if (cabinet) {
    return [
      {
        ...common,
        key: `${cabinet.id}.low`,
        rule: limitRule(cabinet, 'low', 3, 1, 30 * MIN, 30 * MIN),
        what: 'Cold in the cabinet',
        consequence: 'If it goes on falling, gauge lines and the lance freeze tonight.',
        action,
        respondWithinMin: 240,
        basis: `3 C for 30 min. ${capital(PRACTICE)}.`,
      },
      {
        ...common,
        key: `${cabinet.id}.low-low`,
        rule: limitRule(cabinet, 'low', 1, 1, 30 * MIN, 30 * MIN),
        what: 'Frost in the cabinet',
        consequence: 'Gauge lines, lance and filter feed freeze; burst pipes run out when they thaw.',
        action,
        respondWithinMin: 60,
        basis: `1 C for 30 min. ${capital(PRACTICE)}.`,
      },
    ]
  }
  if (!ambient) return []
  return [
    {
      ...common,
      key: `${ambient.id}.low`,
      rule: limitRule(ambient, 'low', -2, 1, HOUR, FROST_OVER_MS),
      what: 'A spell of frost at the yard',
      consequence: 'Without heat the lance, gauge lines and filter feed freeze in a few hours, tonight or in one of the next nights.',
      action,
      respondWithinMin: 180,
      confirm: 'The heater is warm; the alarm stands until a week has passed without frost, so that a spell of cold nights calls once.',
      basis: `-2 C for 60 min, over after a week above -1 C; the cabinet itself is not measured here. ${capital(PRACTICE)}.`,
    },
  ]
}

function heat(site: Site, s: Signal): readonly Draft[] {
  const stage = stageAt(site, s)
  if (!stage || (stage.kind !== 'treatment' && stage.kind !== 'bio')) return []
  const where = placeOf(stage)
  const common = { stage: stage.id, class: 'process', latching: false, severity: 'major', cautions: ['aerosol', 'hot-water'] } as const
  return [
    {
      ...common,
      key: `${s.id}.high`,
      rule: limitRule(s, 'high', 32, 1, HOUR, 30 * MIN),
      what: `${capital(where)} is warm`,
      cause: 'Hot weather, much hot washing, a hot pump or blower.',
      consequence: 'Less oxygen dissolves; above 35 C the biology loses its best workers. Warm spray is where Legionella grows.',
      action: [
        'Yard, by phone: less hot washing today, shade and open doors.',
        `At ${where}: is the blower air hot? Clean its filter.`,
        'Put fresh make-up water in if the site procedure allows it.',
      ],
      confirm: `A thermometer in ${where} reads below {clear} °C.`,
      respondWithinMin: 720,
      basis: `32 C: best range 18 to 32 C (Berne and Cordonnier 1995, Henze et al. 2011, as quoted by a public water page). Delay: ${PRACTICE}.`,
    },
    {
      ...common,
      key: `${s.id}.high-high`,
      rule: limitRule(s, 'high', 38, 1, 30 * MIN, 15 * MIN),
      what: `${capital(where)} is too hot`,
      cause: 'Hot wash water or heater water returns to the tank.',
      consequence: 'Above 40 C the biology dies within hours.',
      action: [
        'Yard, by phone: stop hot washing now.',
        'At the washer: burner off, where does hot water get into the return?',
        `At ${where}: add cold make-up water if the site procedure allows it; keep the air on.`,
      ],
      confirm: `A thermometer in ${where} reads below {clear} °C.`,
      respondWithinMin: 60,
      basis: `38 C. ${capital(PRACTICE)}.`,
    },
  ]
}
