/**
 * Every sentence of the yard page. Another language is another record of the same shape, entered in LANGUAGES under its code; the
 * browser says which it wants. Names of places, and what an alarm says of itself, come as they stand in the site file and the alarm.
 */
import type { WashReasonKind, WashWatch } from '../../gateway/alarms/do-not-wash.ts'

export const REPORTS = ['foam', 'smell', 'degreaser', 'bleach', 'oil', 'paint', 'concrete', 'something else'] as const
export type Report = (typeof REPORTS)[number]

export interface YardWords {
  readonly title: (loop: string) => string
  readonly asOf: (clock: string) => string
  /** Finished water. */
  readonly washingLeft: string
  readonly minutes: string
  readonly read: (age: string) => string
  readonly doubtful: string
  readonly level: (pct: string) => string
  readonly minutesNotMeasured: string
  readonly floatLow: string
  readonly floatWet: string
  readonly notMeasured: string
  readonly notKnown: string
  readonly lastRead: (age: string) => string
  readonly neverRead: string
  /** Whether to wash. */
  readonly doNotWash: string
  readonly because: Readonly<Record<WashReasonKind, string>>
  readonly since: (clock: string) => string
  readonly until: (clock: string) => string
  readonly held: string
  readonly nothingAgainst: string
  readonly cannotTell: (age: string | null) => string
  readonly outOfContract: string
  readonly blind: (what: string) => string
  readonly watch: Readonly<Record<WashWatch, string>>
  /** People. */
  readonly call: string
  readonly callCare: string
  readonly callYard: string
  readonly noPhone: string
  readonly emergency: string
  /** Hazards. */
  readonly keepOut: string
  readonly keepOutText: (what: string, clock: string) => string
  readonly hazards: string
  readonly hazard: Readonly<Record<string, string>>
  readonly decides: string
  /** Reports. */
  readonly tell: string
  readonly foam: string
  readonly smell: string
  readonly unusual: string
  readonly whatWasIt: string
  readonly report: Readonly<Record<Report, string>>
  readonly written: (what: string) => string
  readonly advice: Readonly<Partial<Record<Report, string>>>
  readonly lately: string
  readonly tooMany: (minutes: number) => string
  readonly notWritten: string
  /** Link. */
  readonly noLink: string
  readonly frozen: string
  readonly notSent: string
  readonly sending: string
  readonly linkGone: string
  readonly linkGoneText: string
  /** Sheet for the sign. */
  readonly sheetTitle: string
  readonly sheetText: string
  readonly sheetType: string
  readonly sheetKeep: string
}

const en: YardWords = {
  title: (loop) => `Washing at ${loop}`,
  asOf: (clock) => `as of ${clock}`,
  washingLeft: 'Washing left',
  minutes: 'min',
  read: (age) => `read ${age} ago`,
  doubtful: 'Doubtful: the level sensor is not to be trusted just now. Look into the tank before a long wash.',
  level: (pct) => `Tank ${pct}\u00a0% full.`,
  minutesNotMeasured: 'How many minutes that is, is not measured here.',
  floatLow: 'Almost empty: finish the vehicle in hand and stop.',
  floatWet: 'There is water above the low float. How many minutes is not measured here.',
  notMeasured: 'Not measured here. Look at the tank.',
  notKnown: 'Not known now. Look at the tank.',
  lastRead: (age) => `last read ${age} ago`,
  neverRead: 'nothing read yet',
  doNotWash: 'Do not wash now',
  because: {
    entry: 'Gas was measured here. Keep everybody away from the pit, the sump and the tanks.',
    gas: 'There is gas in the air at the loop. Keep away, stay upwind, and call.',
    overflow: 'The sump is about to run over. More water would reach the ground.',
    leak: 'Water has been found where it must not be, beside the tanks.',
    sump: 'The sump is almost full. It needs to be pumped down first.',
    air: 'The air of the tanks is off. What cleans the water is suffocating; more dirty water makes it worse.',
    oxygen: 'There is almost no oxygen in a tank. Let it recover before more dirty water comes.',
    acid: 'The water has turned acid. Keep it off skin and eyes.',
    alkaline: 'The water is strongly alkaline, as from lime or cleaner. Keep it off skin and eyes.',
    water: 'The finished water is used up. A washer that runs dry breaks.',
    work: 'Planned work is going on at the loop.',
    'on-site': 'Somebody is working at the loop. Ask them first; machines may be opened or switched off.',
    resting: 'The loop is at rest. Call before you use it.',
  },
  since: (clock) => `since ${clock}`,
  until: (clock) => `until ${clock}`,
  held: 'No good reading since; taken as still so.',
  nothingAgainst: 'Nothing known against washing',
  cannotTell: (age) =>
    `Cannot tell: ${age === null ? 'nothing was ever heard from this loop' : `nothing heard from this loop for ${age}`}. Before you wash, look: does the air bubble, is the sump low?`,
  outOfContract: 'Nobody is called for this loop at present. Ask the yard office.',
  blind: (what) => `Not watched here: ${what}. Look for yourself.`,
  watch: { air: 'air of the tanks', sump: 'level of the sump', acidity: 'acid and alkaline water', gas: 'gas in the air' },
  call: 'Call',
  callCare: 'Who looks after the loop',
  callYard: 'The yard',
  noPhone: 'No number is written down for this loop. Ask the yard office.',
  emergency: 'Somebody hurt or overcome: emergency number first. Never go in after them.',
  keepOut: 'Keep out',
  keepOutText: (what, clock) => `${what}, ${clock}. Nobody goes in or leans over until it was ventilated and measured, also when the smell is gone.`,
  hazards: 'What can hurt you here',
  hazard: {
    h2s: 'A black or smelly tank or sump can give off a gas that kills. You stop smelling it. Do not lean over.',
    'confined-space': 'Never climb into sump or tanks, not even for a dropped tool.',
    lockout: 'Machines start by themselves. Hands off until the switch is locked.',
    ozone: 'Sharp smell like after lightning: ozone. Leave and let the air in.',
    aerosol: 'Not drinking water. Do not breathe the spray.',
    jet: 'Never point the lance at anybody. A jet wound is an emergency, even a small one.',
    'hot-water': 'Hot lance and hose burn.',
    dosing: 'Drums hold acid. Never touch, never mix with bleach: poison gas.',
    electricity: 'Wet place: open no cabinet. Damaged cable: keep off and call.',
    discharge: 'Nothing goes down the storm drain.',
  },
  decides: 'Rules of your yard come first. This page informs; it allows nothing. In doubt stop, and call.',
  tell: 'Tell us',
  foam: 'Foam',
  smell: 'Bad smell',
  unusual: 'Unusual wash',
  whatWasIt: 'What went into the water?',
  report: {
    foam: 'foam',
    smell: 'bad smell',
    degreaser: 'degreaser',
    bleach: 'bleach',
    oil: 'oil or fuel',
    paint: 'paint',
    concrete: 'concrete or lime',
    'something else': 'something else',
  },
  written: (what) => `Written down: ${what}. Thank you.`,
  advice: {
    smell: 'Stay away from the tanks and the sump; do not look for where it comes from.',
    degreaser: 'Stop if there was much of it, and call.',
    bleach: 'Stop washing and call. Bleach kills what cleans the water, and with acid it makes poison gas.',
    oil: 'Stop washing and call. No sensor here sees oil.',
    paint: 'Stop washing and call. No sensor here sees paint.',
    concrete: 'Stop washing and call. Wet concrete burns skin and eyes.',
    'something else': 'If you do not know what it was: stop washing and call.',
  },
  lately: 'Reported lately',
  tooMany: (minutes) => `Not written down: many reports came from this sign within a short time. Try again in ${minutes}\u00a0min, or call.`,
  notWritten: 'Not written down: the page did not say what to write. Go back and press one of the buttons.',
  noLink: 'No link',
  frozen: 'What stands below is old. It tries again by itself.',
  notSent: 'Not sent: no link. Press again when it is back, or call.',
  sending: 'Sending',
  linkGone: 'This link no longer works',
  linkGoneText: 'It was replaced or withdrawn, or mistyped. Type what stands on the sign once more; else ask the yard office for the new one.',
  sheetTitle: 'Before you wash',
  sheetText: 'How much water is left, when not to wash, and where to report foam, smell, or anything unusual in the water.',
  sheetType: 'Type this into the browser of your phone',
  sheetKeep: 'For people of this yard. Whoever has this address sees that page and can send those reports, nothing else.',
}

const LANGUAGES: Readonly<Record<string, YardWords>> = { en }

export interface Spoken {
  readonly code: string
  readonly words: YardWords
}

/** The first language of an Accept-Language header that we have; English when there is none. */
export function languageOf(header: string | undefined, languages: Readonly<Record<string, YardWords>> = LANGUAGES): Spoken {
  const wanted = (header ?? '')
    .slice(0, 200)
    .split(',')
    .map((part) => {
      const [tag = '', ...rest] = part.trim().toLowerCase().split(';')
      const weight = Number(/^\s*q=([\d.]+)/.exec(rest.join(';'))?.[1] ?? 1)
      return { code: tag.split('-')[0] ?? '', weight }
    })
    .filter((w) => w.weight > 0)
    .toSorted((a, b) => b.weight - a.weight)
  for (const { code } of wanted) {
    const words = Object.hasOwn(languages, code) ? languages[code] : undefined
    if (words) return { code, words }
  }
  return { code: 'en', words: en }
}
