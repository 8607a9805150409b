/**
 * What of a CSV file is taken, as which signals, in which units: worked out from its header, the site files and what the person said,
 * before a line of it is read. Everything that is missing is asked for at once.
 */
import type { Track } from '../../intake/checks-message.ts'
import { neverHeard, specOf } from '../../intake/checks.ts'
import { convertible, unitsInto } from '../../site/convert.ts'
import { keyOf, signalOfKey, siteOfKey } from '../../site/reading.ts'
import type { Site } from '../../site/site.ts'
import type { TimeForm } from './times.ts'

/** `NAME as SIGNAL in UNIT`. */
export interface Take {
  readonly name: string
  /** `bio1.do`, or with its site `depot/bio1.do`. */
  readonly signal: string
  readonly unit: string
}

export interface ImportAsked {
  /** Where a signal is named without its site; null: not said. */
  readonly site: string | null
  readonly form: 'wide' | 'long' | null
  readonly takes: readonly Take[]
  /** Every figure not named in `takes` is in the unit of the site file. */
  readonly siteUnits: boolean
  readonly columns: { readonly time: string | null; readonly site: string | null; readonly signal: string | null; readonly value: string | null; readonly quality: string | null }
  readonly times: TimeForm
  /** Zone the wall clock is in, when `times.naive` says wall. */
  readonly zone: string
  readonly decimalComma: boolean
  /** Texts that stand for no reading, besides an empty cell. */
  readonly missing: readonly string[]
}

export interface Series {
  /** As it stands in the file. */
  readonly name: string
  readonly track: Track
  /** null: the unit of the site file. */
  readonly unit: string | null
}

export interface ImportPlan {
  readonly form: 'wide' | 'long'
  readonly time: number
  /** Wide: columns taken, each with the column of its quality. */
  readonly wide: readonly { readonly value: number; readonly quality: number | null; readonly series: Series }[]
  /** Long. */
  readonly long: { readonly site: number | null; readonly signal: number; readonly value: number; readonly quality: number | null; readonly unit: number | null }
  readonly received: number | null
  /** Long: series by the name in the file. */
  seriesOf(name: string, ownUnit: string): Series | null
  readonly series: () => readonly Series[]
  /** Wide: columns of the header that are not taken. */
  readonly left: readonly string[]
}

export type PlanResult = { readonly ok: true; readonly plan: ImportPlan } | { readonly ok: false; readonly questions: readonly string[] }

const TIME = /^(source[ _]?)?(date[ _]?time|time[ _]?stamp|time|date)$/i
const QUALITY_END = ' quality'

export function planImport(header: readonly string[], asked: ImportAsked, sites: ReadonlyMap<string, Site>): PlanResult {
  const questions: string[] = []
  const at = (name: string): number => header.indexOf(name)
  const found = (what: string, flag: string, name: string | null, usual: RegExp): number => {
    const i = name !== null ? at(name) : header.findIndex((h) => usual.test(h))
    if (i < 0)
      questions.push(
        name !== null
          ? `${flag} is "${name}", but the header has no such column. It has: ${header.join(' | ')}`
          : `Which column holds the ${what}? Say it with ${flag}. The header has: ${header.join(' | ')}`,
      )
    return i
  }
  const maybe = (name: string | null, flag: string, usual: RegExp): number | null => {
    if (name !== null) return found('', flag, name, usual)
    const i = header.findIndex((h) => usual.test(h))
    return i < 0 ? null : i
  }
  const twice = header.find((h, i) => h !== '' && at(h) !== i)
  if (twice !== undefined) questions.push(`The column "${twice}" stands twice in the header: give one of them another name`)
  const time = found('times', '--time-column', asked.columns.time, TIME)
  const form = asked.form ?? (header.some((h) => /^signal$/i.test(h)) && header.some((h) => /^value$/i.test(h)) ? 'long' : 'wide')
  const received = maybe(null, '', /^received[ _]?time$/i)
  const known = new Map<string, Series>()

  const series = (name: string, signal: string, unit: string | null, say: (question: string) => null): Series | null => {
    const key = signal.includes('/') ? signal : asked.site === null ? null : keyOf(asked.site, signal)
    if (key === null) return say(`Whose signal is ${signal}? Say --site SITE. Site files were found of: ${[...sites.keys()].join(', ') || 'none'}`)
    const id = `${name}\n${key}\n${unit ?? ''}`
    const was = known.get(id)
    if (was) return was
    const site = sites.get(siteOfKey(key))
    if (!site) return say(`There is no site file of ${siteOfKey(key)}. Site files were found of: ${[...sites.keys()].join(', ') || 'none'}`)
    const s = site.signals.find((x) => x.id === signalOfKey(key))
    if (!s)
      return say(
        `Site ${site.id} has no signal ${signalOfKey(key)}: add it to its site file, or take it in with npm run sites adopt ${site.id} ${signalOfKey(key)}. It has: ${site.signals.map((x) => x.id).join(', ')}`,
      )
    if (unit !== null && !convertible(unit, s.unit)) {
      const into = unitsInto(s.unit)
      return say(`"${name}" is said to be in ${unit}, which cannot be turned into ${s.unit}, the unit of ${s.id}. Units that can: ${[s.unit, ...into].join(' ')}`)
    }
    const spec = specOf(site.id, s, site.stages.find((x) => x.id === s.stage)?.kind ?? null)
    const made: Series = { name, track: { spec, state: neverHeard, around: null }, unit }
    const other = [...known.values()].find((x) => x.track.spec.key === spec.key)
    if (other && other.name !== name) return say(`"${other.name}" and "${name}" are both to be taken as ${spec.key}: leave one out`)
    known.set(id, other ? { ...made, track: other.track } : made)
    return made
  }
  const ask = (question: string): null => {
    if (!questions.includes(question)) questions.push(question)
    return null
  }

  const takeOf = new Map(asked.takes.map((t) => [t.name, t]))
  const wide: { value: number; quality: number | null; series: Series }[] = []
  const left: string[] = []
  const long = { site: null as number | null, signal: -1, value: -1, quality: null as number | null, unit: null as number | null }
  if (form === 'wide') {
    for (const t of asked.takes) if (at(t.name) < 0) ask(`"${t.name}" is to be taken as ${t.signal}, but the header has no such column. It has: ${header.join(' | ')}`)
    header.forEach((h, value) => {
      if (value === time || (h.endsWith(QUALITY_END) && at(h.slice(0, -QUALITY_END.length)) >= 0)) return
      const take = takeOf.get(h)
      const quality = at(`${h}${QUALITY_END}`)
      const same = !take && isSignal(h, asked.site, sites)
      if (!take && !same) return void left.push(h)
      if (same && !asked.siteUnits) return void ask(unitQuestion(h, asked.site, sites))
      const s = series(h, take?.signal ?? h, take?.unit ?? null, ask)
      if (s) wide.push({ value, quality: quality < 0 ? null : quality, series: s })
    })
    if (wide.length === 0 && questions.length === 0)
      ask(
        `No column is to be taken. Say which is which signal, and its unit: --take "${left[0] ?? 'NAME'} as SIGNAL in UNIT"; once for each column. ${signalsText(asked.site, sites)}`,
      )
  } else {
    long.signal = found('names of the signals', '--signal-column', asked.columns.signal, /^signal$/i)
    long.value = found('figures', '--value-column', asked.columns.value, /^value$/i)
    long.site = maybe(asked.columns.site, '--site-column', /^site$/i)
    long.quality = maybe(asked.columns.quality, '--quality-column', /^quality$/i)
    long.unit = maybe(null, '', /^unit$/i)
    if (long.unit === null && !asked.siteUnits && asked.takes.length === 0)
      ask(
        'In which units are the figures? Say --take "NAME as SIGNAL in UNIT" once for each signal of the file, or --units site when all of them are in the units of the site files',
      )
    for (const t of asked.takes) series(t.name, t.signal, t.unit, ask)
  }
  if (questions.length > 0) return { ok: false, questions }

  const byName = new Map<string, Series | null>()
  return {
    ok: true,
    plan: {
      form,
      time,
      wide,
      long,
      received,
      left,
      series: () => [...known.values()],
      seriesOf(name, ownUnit) {
        const id = `${name}\n${ownUnit}`
        const was = byName.get(id)
        if (was !== undefined) return was
        const bare = long.site !== null && asked.site === null ? signalOfKey(name) : name
        const take = takeOf.get(name) ?? takeOf.get(bare) ?? takeOf.get(signalOfKey(name))
        const unit = take?.unit ?? (ownUnit === '' ? null : ownUnit)
        const may = take !== undefined || ((asked.siteUnits || ownUnit !== '') && isSignal(name, asked.site, sites))
        const key = take === undefined ? name : take.signal.includes('/') || !name.includes('/') ? take.signal : keyOf(siteOfKey(name), take.signal)
        const made = may ? series(name, key, unit, () => null) : null
        byName.set(id, made)
        return made
      },
    },
  }
}

function isSignal(name: string, site: string | null, sites: ReadonlyMap<string, Site>): boolean {
  const owner = sites.get(name.includes('/') ? siteOfKey(name) : (site ?? ''))
  return owner?.signals.some((s) => s.id === (name.includes('/') ? signalOfKey(name) : name)) ?? false
}

function unitQuestion(name: string, site: string | null, sites: ReadonlyMap<string, Site>): string {
  const owner = sites.get(name.includes('/') ? siteOfKey(name) : (site ?? ''))
  const unit = owner?.signals.find((s) => s.id === (name.includes('/') ? signalOfKey(name) : name))?.unit ?? '1'
  return `In which unit is the column "${name}"? Say --take "${name} as ${name} in ${unit}", or --units site when every figure is in the unit of the site file`
}

function signalsText(site: string | null, sites: ReadonlyMap<string, Site>): string {
  const owner = site === null ? undefined : sites.get(site)
  if (owner) return `Signals of ${owner.id}, with their units: ${owner.signals.map((s) => `${s.id} (${s.unit})`).join(', ')}`
  return `${site === null ? 'Say --site SITE as well' : `There is no site file of ${site}`}. Site files were found of: ${[...sites.keys()].join(', ') || 'none'}`
}
