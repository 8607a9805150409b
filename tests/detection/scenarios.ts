/**
 * Faults and look-alikes as they are planted to see how good the alarms are: how long each lasts, until when an alarm about it is worth
 * having, which troubles name it, which other troubles may follow from it, and whether a loop of each level can see it at all.
 * Lengths, harm and the table of what can be seen: common practice and arithmetic on a reference loop, no source.
 */
import type { FaultKind } from '../../simulator/faults/fault.ts'
import type { Site } from '../../gateway/site/site.ts'
import type { Trouble } from './groups.ts'

export type Level = Site['instrumentation']
export const LEVELS: readonly Level[] = ['poor', 'normal', 'rich']

/** yes: its signals tell it; partly: they hint, and cannot tell it from something harmless; no: nothing it sends moves. */
export type Seen = 'yes' | 'partly' | 'no'

export interface Scenario {
  /** `F1`, `F1 washing`: unique. */
  readonly id: string
  readonly what: string
  readonly kind: FaultKind
  /** Looks like a fault and is none: whoever is woken for it is woken in vain. */
  readonly alike: boolean
  /** Local hour it begins. */
  readonly hour: number
  readonly lastsH: number
  readonly size?: number
  readonly rampH?: number
  /** Hours from onset during which telling of it still helps; a later alarm has missed it. */
  readonly helpsH: number
  /** Hours after its end during which alarms may still be its consequence. */
  readonly afterH: number
  /** Days after its end before anything else is planted on this loop. */
  readonly restDays: number
  /** Troubles that name it. */
  readonly names: readonly Trouble[]
  /** Troubles that may follow from it: no detection, no false alarm either. */
  readonly follows: readonly Trouble[]
  readonly seen: Readonly<Record<Level, readonly [Seen, string]>>
  /** The yard must be washing on that day. */
  readonly weekday?: true
  /** Air is lost: what the alarm has to beat is the tank's oxygen. */
  readonly air?: true
  /** What a person does about it. */
  readonly mended?: 'visit' | 'reseeding' | 'calibration'
  /** Someone is on site all through, and has said so. */
  readonly attended?: true
  readonly fits?: (site: Site) => boolean
}

const doses = (site: Site, what: string): boolean => site.equipment.some((e) => e.doses === what)
/** An open pad whose rain reaches the sump: a diverter, or the yard that sets one by hand in the evening, sends a cloudburst away and nothing happens. */
const open = (site: Site): boolean => site.stages.some((s) => s.pad?.cover === 'open' && s.pad.diverter === 'none')
const carriers = (site: Site): boolean => site.stages.some((s) => s.retention === 'carriers')
const has = (site: Site, signal: string): boolean => site.signals.some((s) => s.id === signal)

const all = (seen: Seen, why: string): Scenario['seen'] => ({ poor: [seen, why], normal: [seen, why], rich: [seen, why] })
const levels = (poor: readonly [Seen, string], normal: readonly [Seen, string], rich: readonly [Seen, string] = normal): Scenario['seen'] => ({ poor, normal, rich })
const noWater: readonly [Seen, string] = ['no', 'no signal in the water']
const airFollows: readonly Trouble[] = ['redox', 'gas', 'acid', 'trip', 'selector', 'restart', 'biology', 'clarity', 'air transfer', 'probe', 'alkaline']
const killFollows: readonly Trouble[] = ['oxygen', 'redox', 'alkaline', 'acid', 'clarity', 'gas', 'air transfer', 'probe', 'alkalinity', 'dosing']
const waterFollows: readonly Trouble[] = ['sump', 'water', 'spill', 'leak', 'salt', 'clarity', 'transfer', 'make-up']

const alike = (s: Omit<Scenario, 'alike' | 'helpsH' | 'names' | 'seen'>): Scenario => ({ ...s, alike: true, helpsH: 0, names: [], seen: all('no', 'no fault') })

/** The pump runs and moves nothing. The treatment unit is not fed meanwhile, so its dip is missing too. */
const NOTHING_TRANSFERRED = {
  names: ['transfer', 'sump', 'water', 'spill'],
  follows: ['starvation', 'biology', 'paper', 'make-up', 'leak'],
  seen: levels(['yes', 'the sump rises to its float although the pump runs'], ['yes', 'pump runs, sump does not fall, finished water does']),
  weekday: true,
  mended: 'visit',
} as const

export const SCENARIOS: readonly Scenario[] = [
  {
    id: 'F1',
    what: 'blower trips on an idle night',
    kind: 'blower-trip',
    alike: false,
    hour: 21.67,
    lastsH: 9,
    helpsH: 8,
    afterH: 12,
    restDays: 4,
    names: ['air', 'trip'],
    follows: ['oxygen', ...airFollows],
    seen: all('yes', 'contact, and pressure where there is one'),
    air: true,
    mended: 'visit',
  },
  {
    id: 'F1 washing',
    what: 'blower trips in a wash',
    kind: 'blower-trip',
    alike: false,
    hour: 11,
    lastsH: 5,
    helpsH: 4,
    afterH: 12,
    restDays: 4,
    names: ['air', 'trip'],
    follows: ['oxygen', ...airFollows],
    seen: all('yes', 'contact, and pressure where there is one'),
    weekday: true,
    air: true,
    mended: 'visit',
  },
  {
    id: 'F2',
    what: 'air line off the treatment unit',
    kind: 'air-line-off',
    alike: false,
    hour: 11,
    lastsH: 6,
    helpsH: 5,
    afterH: 12,
    restDays: 4,
    names: ['air', 'oxygen'],
    follows: airFollows,
    seen: levels(['no', 'contact and current stay as they are'], ['yes', 'pressure falls 40 to 70 %, oxygen follows']),
    weekday: true,
    air: true,
    mended: 'visit',
  },
  {
    id: 'F3',
    what: 'diffusers clog, over 45 days',
    kind: 'diffuser-fouling',
    alike: false,
    hour: 6,
    lastsH: 45 * 24,
    rampH: 60 * 24,
    helpsH: 40 * 24,
    afterH: 12,
    restDays: 4,
    names: ['air transfer', 'oxygen'],
    follows: ['biology', 'redox', 'alkaline', 'probe'],
    seen: levels(['no', 'no pressure, no oxygen'], ['yes', 'pressure creeps up, loaded oxygen falls, idle oxygen does not']),
    mended: 'visit',
  },
  {
    id: 'F4',
    what: 'degreaser with a biocide, in one wash',
    kind: 'degreaser',
    alike: false,
    hour: 9,
    lastsH: 0.25,
    helpsH: 48,
    afterH: 10 * 24,
    restDays: 11,
    names: ['biology', 'alkaline', 'clarity'],
    follows: [...killFollows, 'sump'],
    seen: levels(noWater, ['yes', 'pH up in minutes, oxygen down then up, the dip of the next washes is gone']),
    weekday: true,
    mended: 'reseeding',
  },
  {
    id: 'F4 solvent',
    what: 'solvent in one wash: poison alone',
    kind: 'solvent',
    alike: false,
    hour: 9,
    lastsH: 0.25,
    helpsH: 48,
    afterH: 10 * 24,
    restDays: 11,
    names: ['biology', 'clarity'],
    follows: killFollows,
    seen: levels(noWater, ['yes', 'the dip of the next washes is gone']),
    weekday: true,
    mended: 'reseeding',
  },
  {
    id: 'F5',
    what: 'bleach in the treatment unit',
    kind: 'bleach',
    alike: false,
    hour: 10.33,
    lastsH: 0.17,
    helpsH: 48,
    afterH: 10 * 24,
    restDays: 11,
    names: ['biology', 'redox', 'alkaline'],
    follows: killFollows,
    // Two litres leave 0.4 of the activity in this simulator, and with that the dip is half of the predicted one for a day and then food limits it, not the culture.
    seen: levels(noWater, ['partly', 'the dip is half of what it should be for a day; pH steps up where no acid is dosed'], ['yes', 'redox up at once']),
    weekday: true,
    mended: 'reseeding',
  },
  {
    id: 'F5 ozone',
    what: 'ozonated water runs back into the treatment unit',
    kind: 'ozone-return',
    alike: false,
    hour: 10.33,
    lastsH: 10,
    helpsH: 24,
    afterH: 10 * 24,
    restDays: 11,
    names: ['biology', 'redox', 'gas'],
    follows: [...killFollows, ...waterFollows],
    seen: levels(noWater, ['partly', 'oxygen over saturation while the generator runs on'], ['yes', 'redox and oxygen up while the generator runs on']),
    weekday: true,
    mended: 'reseeding',
  },
  {
    id: 'F6',
    what: 'acid relay stuck, its timer does not act',
    kind: 'dose-stuck',
    alike: false,
    hour: 2.17,
    lastsH: 1.5,
    helpsH: 0.75,
    afterH: 10 * 24,
    restDays: 11,
    names: ['dosing', 'acid'],
    follows: killFollows.concat('biology'),
    seen: levels(noWater, ['yes', 'the pump runs on, pH falls']),
    mended: 'reseeding',
    fits: (s) => doses(s, 'acid') && has(s, 'acid.run'),
  },
  {
    id: 'F6 timer',
    what: 'acid relay stuck, its timer stops the pump',
    kind: 'dose-guarded',
    alike: false,
    hour: 2.17,
    lastsH: 6,
    helpsH: 6,
    afterH: 12,
    restDays: 3,
    names: ['dosing', 'acid'],
    follows: ['alkaline', 'trip', 'probe', 'alkalinity'],
    seen: levels(noWater, ['partly', 'one run as long as the timer allows, then none although the pH asks for it']),
    fits: (s) => doses(s, 'acid') && has(s, 'acid.run'),
    mended: 'visit',
  },
  {
    id: 'F7',
    what: 'alkalinity runs out within three weeks',
    kind: 'alkalinity-loss',
    alike: false,
    hour: 6,
    lastsH: 26 * 24,
    helpsH: 24 * 24,
    afterH: 4 * 24,
    restDays: 6,
    names: ['alkalinity', 'acid'],
    follows: ['biology', 'dosing', 'probe'],
    // The pH of the simulated loop of hard water that gets it stays between 7.7 and 8.2 through all 26 days: no harm comes of it, and nothing is there to be told.
    seen: levels(noWater, ['partly', 'pH at rest falls by 0.01 a day where no acid is dosed; make-up water brings enough alkalinity for the rest']),
    fits: carriers,
    mended: 'visit',
  },
  {
    id: 'F8',
    what: 'nobody washes for 24 days, nutrients off too',
    kind: 'starvation',
    alike: false,
    hour: 0,
    lastsH: 24 * 24,
    helpsH: 14 * 24,
    afterH: 4 * 24,
    restDays: 8,
    names: ['starvation', 'nutrient', 'biology'],
    follows: ['redox', 'alkaline', 'probe', 'water'],
    seen: levels(['partly', 'no washing is seen, the biology is not'], ['yes', 'wash meter stands, nutrient pump stands, idle oxygen creeps up']),
    mended: 'reseeding',
  },
  {
    id: 'F9',
    what: 'pH reference poisoned, 0.6 down in 30 days',
    kind: 'ph-drift',
    alike: false,
    hour: 6,
    lastsH: 30 * 24,
    rampH: 30 * 24,
    helpsH: 30 * 24,
    afterH: 48,
    restDays: 5,
    names: ['probe', 'acid', 'alkaline'],
    follows: ['biology', 'dosing', 'alkalinity'],
    seen: levels(
      noWater,
      ['partly', 'one electrode cannot tell itself from the water: doses fall while the reading drifts'],
      ['partly', 'the electrode of the finished water disagrees'],
    ),
    mended: 'calibration',
  },
  {
    id: 'F9 slope',
    what: 'pH glass worn: 60 % of its slope',
    kind: 'ph-slope',
    alike: false,
    hour: 6,
    lastsH: 20 * 24,
    rampH: 20 * 24,
    helpsH: 20 * 24,
    afterH: 48,
    restDays: 5,
    names: ['probe', 'acid', 'alkaline'],
    follows: ['biology', 'dosing', 'alkalinity'],
    seen: levels(noWater, ['partly', 'one electrode cannot tell itself from the water'], ['partly', 'the electrode of the finished water disagrees']),
    mended: 'calibration',
  },
  {
    id: 'F10',
    what: 'storm of 25 mm/h for 2 h on an open pad',
    kind: 'storm',
    alike: false,
    hour: 18,
    lastsH: 2,
    helpsH: 3,
    afterH: 24,
    restDays: 3,
    names: ['sump', 'spill'],
    follows: [...waterFollows, 'oxygen', 'biology', 'redox'],
    seen: all('yes', 'high float of the sump, or of the tank that takes its place'),
    fits: open,
  },
  {
    id: 'F11',
    what: 'transfer pump airlocked',
    kind: 'transfer-airlock',
    alike: false,
    hour: 8.5,
    lastsH: 9,
    helpsH: 8,
    afterH: 12,
    restDays: 3,
    ...NOTHING_TRANSFERRED,
  },
  {
    id: 'F11 strainer',
    what: 'strainer of the transfer pump closes',
    kind: 'strainer-blocked',
    alike: false,
    hour: 8,
    lastsH: 10,
    rampH: 1.5,
    helpsH: 9,
    afterH: 12,
    restDays: 3,
    ...NOTHING_TRANSFERRED,
  },
  {
    id: 'F11 make-up',
    what: 'make-up valve stuck open over a weekend',
    kind: 'make-up-stuck',
    alike: false,
    hour: 18,
    lastsH: 40,
    helpsH: 24,
    afterH: 24,
    restDays: 3,
    names: ['make-up', 'spill', 'leak'],
    follows: [...waterFollows, 'oxygen', 'biology', 'redox', 'starvation'],
    seen: levels(['no', 'no meter, no level above the low float'], ['yes', 'the make-up meter never stands']),
    mended: 'visit',
  },
  {
    id: 'F12',
    what: 'power blinks for 20 s, the blower stays off',
    kind: 'no-restart',
    alike: false,
    hour: 4,
    lastsH: 8,
    helpsH: 7,
    afterH: 12,
    restDays: 4,
    names: ['air', 'restart'],
    follows: ['oxygen', 'power', ...airFollows],
    seen: all('yes', 'everything runs again but the blower'),
    air: true,
    mended: 'visit',
  },
  {
    id: 'F12 selector',
    what: 'selector of the blower left in OFF after a visit',
    kind: 'left-in-off',
    alike: false,
    hour: 14,
    lastsH: 18,
    helpsH: 8,
    afterH: 12,
    restDays: 4,
    names: ['air', 'restart', 'selector'],
    follows: ['oxygen', ...airFollows],
    seen: all('yes', 'contact open after the visit'),
    weekday: true,
    air: true,
    mended: 'visit',
  },
  alike({ id: 'B1', what: 'holiday of 9 days', kind: 'no-washing', hour: 0, lastsH: 9 * 24, afterH: 48, restDays: 3, follows: [] }),
  alike({ id: 'B2', what: 'heavy detergent day', kind: 'heavy-day', hour: 8, lastsH: 9, afterH: 6, restDays: 3, follows: ['water'], weekday: true }),
  alike({ id: 'B3', what: 'cold snap of 6 days', kind: 'cold-snap', hour: 0, lastsH: 6 * 24, rampH: 4 * 24, afterH: 48, restDays: 4, follows: ['frost'] }),
  alike({
    id: 'B4',
    what: 'air off for 15 min each night by a timer, as its site file says',
    kind: 'nightly-air-off',
    hour: 0,
    lastsH: 7 * 24,
    afterH: 2,
    restDays: 2,
    follows: [],
    fits: (s) => s.equipment.some((e) => e.kind === 'aerator' && e.longestPlannedOffMs >= 900_000),
  }),
  alike({
    id: 'B5',
    what: 'tank cleaned for 5 h, someone on site',
    kind: 'tank-cleaning',
    hour: 9,
    lastsH: 5,
    afterH: 12,
    restDays: 4,
    follows: [],
    weekday: true,
    attended: true,
  }),
  alike({ id: 'B6', what: 'link out for 4 h, then a burst', kind: 'link-out', hour: 13, lastsH: 4, afterH: 1, restDays: 2, follows: ['link'] }),
  alike({ id: 'B7', what: 'power cut of 6 min, clean restart', kind: 'power-cut', hour: 15, lastsH: 0.1, afterH: 2, restDays: 2, follows: ['power'] }),
  alike({
    id: 'B8 pH',
    what: 'new pH electrode, 0.35 higher',
    kind: 'new-probe',
    hour: 10,
    lastsH: 4 * 24,
    afterH: 12,
    restDays: 2,
    follows: [],
    mended: 'calibration',
    fits: (s) => has(s, 'tu.ph'),
  }),
  alike({
    id: 'B8 oxygen',
    what: 'oxygen probe calibrated, 0.8 higher',
    kind: 'calibrated-oxygen',
    hour: 10,
    lastsH: 4 * 24,
    afterH: 12,
    restDays: 2,
    follows: [],
    mended: 'calibration',
    fits: (s) => has(s, 'tu.do'),
  }),
]

export const scenario = (id: string): Scenario => {
  const found = SCENARIOS.find((s) => s.id === id)
  if (!found) throw new Error(`no scenario ${id}: there are ${SCENARIOS.map((s) => s.id).join(', ')}`)
  return found
}
