/**
 * Probes and kit readings: when each was last calibrated, how old its cap or electrode is, when alkalinity was last measured; all from the site log.
 * Intervals: common practice, no source; the maker's manual and the water decide.
 */
import type { LogEntry } from '../log/entry.ts'
import { standing } from '../outlook/stored.ts'
import type { Quantity } from '../site/quantity.ts'
import type { Signal, Site } from '../site/site.ts'
import { dateIn, type DueItem, every, inSentence } from './item.ts'

interface Care {
  /** Words a log entry may name it by. */
  readonly item: RegExp
  readonly task: string
  readonly everyDays: number
  readonly bring: string
  /** Part that ages, and how long it is good for; null: none is followed. */
  readonly part: { readonly name: string; readonly days: number } | null
}

const CARE: Partial<Readonly<Record<Quantity, Care>>> = {
  ph: {
    item: /^ph$/i,
    task: 'clean and calibrate',
    everyDays: 28,
    bring: 'Buffers 7 and 10, rinse bottle, a soft cloth; a spare electrode when it is slow.',
    part: { name: 'electrode', days: 540 },
  },
  do: { item: /^(oxygen|do)$/i, task: 'wipe and check in air', everyDays: 14, bring: 'Soft cloth, water; a spare cap when it reads off in air.', part: { name: 'cap', days: 730 } },
  orp: { item: /^(redox|orp)$/i, task: 'clean and check in solution', everyDays: 31, bring: 'Redox solution with its value on the bottle, soft cloth.', part: null },
  conductivity: { item: /^conductivity$/i, task: 'check', everyDays: 93, bring: 'Conductivity standard near what the loop reads.', part: null },
  turbidity: { item: /^turbidity$/i, task: 'clean the window', everyDays: 31, bring: 'Soft cloth, clean water, a standard.', part: null },
  ozone: { item: /^ozone$/i, task: 'calibrate', everyDays: 186, bring: 'Ozone source or the service of the maker; a second meter to go in with.', part: null },
  h2s: { item: /^(h2s|hydrogen sulphide)$/i, task: 'calibrate', everyDays: 186, bring: 'Test gas and cap; a personal meter to go near.', part: null },
}

export function dueProbes(site: Site, log: readonly LogEntry[]): readonly DueItem[] {
  const calibrations = standing(log, 'calibration')
  const replacements = standing(log, 'replacement')
  return site.signals.flatMap((s): readonly DueItem[] => {
    const care = CARE[s.quantity]
    if (!care) return []
    const name = inSentence(s.name)
    const last = calibrations.findLast((e) => speaksOf(e, s, care.item))
    const cycle = every(care.everyDays, last?.atMs ?? null)
    const renewed = replacements.findLast((e) => e.about === s.id)
    const out: DueItem[] = [
      {
        site: site.id,
        id: `probe ${s.id}`,
        kind: 'probe',
        what: `${s.name}: ${care.task}`,
        stage: s.stage,
        dueMs: cycle.dueMs,
        why: last ? `Last done ${dateIn(site, last.atMs)}${foundOff(last)}; ${cycle.every}.` : 'No calibration of it stands in the site log.',
        bring: care.bring,
        settles: null,
      },
    ]
    if (care.part && renewed) {
      out.push({
        site: site.id,
        id: `part ${s.id}`,
        kind: 'probe',
        what: `New ${care.part.name} for ${name}`,
        stage: s.stage,
        dueMs: every(care.part.days, renewed.atMs).dueMs,
        why: `Replaced ${dateIn(site, renewed.atMs)}; good for about ${Math.round(care.part.days / 30.4)} months.`,
        bring: `${care.part.name === 'cap' ? 'Cap' : 'Electrode'}, and what it takes to calibrate it.`,
        settles: { kind: 'replacement', about: s.id, item: 'probe' },
      })
    }
    return out
  })
}

/** An entry about the signal; or one that names the quantity and is about its stage, or about nothing. */
const speaksOf = (e: LogEntry, s: Signal, item: RegExp): boolean =>
  e.about === s.id || (e.item !== undefined && item.test(e.item) && (e.about === undefined || e.about === s.at || e.about === s.stage))

const foundOff = (e: LogEntry): string => (e.asFound === undefined || e.value === undefined ? '' : `, found ${e.asFound} where ${e.value} was right`)

const KITS: readonly { readonly item: RegExp; readonly name: string; readonly needed: (site: Site) => boolean; readonly everyDays: number; readonly bring: string }[] = [
  {
    item: /^alkalinity$/i,
    name: 'alkalinity',
    needed: (site) => site.signals.some((s) => s.quantity === 'ph') || site.equipment.some((e) => e.doses === 'acid' || e.doses === 'alum'),
    everyDays: 30,
    bring: 'Alkalinity kit that is not past its date, sample bottle.',
  },
  {
    item: /^(ammonium|phosphate)$/i,
    name: 'ammonium and phosphate',
    needed: (site) => site.equipment.some((e) => e.doses === 'nutrient'),
    everyDays: 31,
    bring: 'Nutrient kits, sample bottle.',
  },
]

export function dueKits(site: Site, log: readonly LogEntry[]): readonly DueItem[] {
  const values = standing(log, 'kit')
  return KITS.filter((k) => k.needed(site)).map((k): DueItem => {
    const last = values.findLast((e) => e.item !== undefined && k.item.test(e.item))
    const cycle = every(k.everyDays, last?.atMs ?? null)
    return {
      site: site.id,
      id: `kit ${k.name}`,
      kind: 'kit',
      what: `Measure ${k.name} with a kit`,
      stage: site.stages.find((s) => s.kind === 'treatment')?.id ?? null,
      dueMs: cycle.dueMs,
      why: last
        ? `Last ${last.item} ${last.value ?? ''} ${last.unit ?? ''}`.trim() + ` on ${dateIn(site, last.atMs)}; ${cycle.every}.`
        : 'No such value stands in the site log; without one the vitals that rest on it are withheld.',
      bring: k.bring,
      settles: null,
    }
  })
}
