/** A condition in words, with its figures and units: "oxygen, treatment unit below 2 mg/L". */
import { QUANTITIES } from '../site/quantity.ts'
import type { Signal, Site } from '../site/site.ts'
import { UNITS } from '../site/units.ts'
import { vitalsOf } from '../vitals/catalogue.ts'
import { spell } from './draft.ts'
import type { Condition } from './rule.ts'

export interface Names {
  /** "oxygen, treatment unit" in the middle of a sentence, of a signal or a vital. */
  name(id: string): string
  /** Display text of its unit. */
  unit(id: string): string
  signal(id: string | null): Signal | null
  /** "somebody washes", "acid pump runs", "rain, yard is at work". */
  works(id: string): string
}

/** Vitals of a site are found once, and only when a rule speaks of one. */
export function namesOf(site: Site): Names {
  const signals = new Map(site.signals.map((s) => [s.id, s]))
  let vitals: Map<string, { readonly name: string; readonly unitText: string }> | null = null
  const vital = (id: string) => (vitals ??= new Map(vitalsOf(site).map((v) => [v.id, v]))).get(id)
  const machine = (s: Signal) => site.equipment.find((e) => e.id === s.at)
  const works = (id: string): string => {
    const s = signals.get(id)
    const e = s && machine(s)
    const washes = e ? e.kind === 'washer' : site.stages.some((t) => t.id === s?.at && t.kind === 'washer')
    if (washes) return 'somebody washes'
    return e && s?.quantity === 'run' ? `${inSentence(e.name)} runs` : s?.quantity === 'rain' ? 'it rains' : `${inSentence(s?.name ?? id)} is at work`
  }
  return {
    works,
    name: (id) => inSentence(signals.get(id)?.name ?? vital(id)?.name ?? id),
    unit: (id) => {
      const s = signals.get(id)
      return s ? unitText(s.unit) : (vital(id)?.unitText ?? '')
    },
    signal: (id) => (id === null ? null : (signals.get(id) ?? null)),
  }
}

const BEYOND = { high: 'above', low: 'below' } as const

/** What has to hold, without its delays. */
export function saidCondition(c: Condition, n: Names): string {
  switch (c.kind) {
    case 'limit': {
      const how = c.medianOverMs === undefined ? '' : ` by its median of ${spell(c.medianOverMs)}`
      const end = c.end === undefined ? '' : `, the ${c.end} end of its interval counted`
      return `${n.name(c.signal)} ${BEYOND[c.side]} ${figure(c.limit, n.unit(c.signal))}${how}${end}`
    }
    case 'state':
      return `${n.name(c.signal)} ${stateWord(n.signal(c.signal), c.value)}`
    case 'rate':
      return `${n.name(c.signal)} ${c.side === 'high' ? 'rises' : 'falls'} faster than ${figure(Math.abs(c.limit), n.unit(c.signal))} per ${spell(c.perMs)} over ${spell(c.spanMs)}`
    case 'deviation': {
      const from = c.from.kind === 'value' ? figure(c.from.value, n.unit(c.signal)) : c.from.kind === 'signal' ? n.name(c.from.signal) : `its own median of ${days(c.from.spanMs)}`
      const by = c.as === 'ratio' ? `${BEYOND[c.side]} ${Math.round(100 * c.limit)} % of ${from}` : `${figure(Math.abs(c.limit), n.unit(c.signal))} ${BEYOND[c.side]} ${from}`
      return `${n.name(c.signal)} ${by}${c.withinMs === undefined ? '' : `, got to within ${spell(c.withinMs)}`}`
    }
    case 'stuck':
      return c.through === null
        ? `${n.name(c.signal)} has not moved by ${figure(c.change, n.unit(c.signal))} for ${spell(c.forMs)}`
        : `${n.name(c.signal)} has not moved through ${c.through.times} times of ${n.name(c.through.signal)} of ${spell(c.forMs)} or more`
    case 'no-effect': {
      const levels = [c.source === null ? '' : `${n.name(c.source)} does not fall`, c.target === null ? '' : `${n.name(c.target)} does not rise`].filter((x) => x !== '')
      return `${n.name(c.run)} runs and ${c.flow ? `${n.name(c.flow.signal)} is below ${figure(c.flow.low, n.unit(c.flow.signal))}` : `${levels.join(' and ')} by ${c.change} %`} for ${spell(c.withinMs)}`
    }
    case 'no-response':
      return `${c.doses} doses of ${n.name(c.run)} together move ${n.name(c.signal)} ${c.side} by less than ${Math.round(100 * c.share)} % of what doses here usually do`
    case 'per-run':
      return `${c.take === 'max' ? 'highest' : 'lowest'} value of ${n.name(c.signal)} in ${c.times} runs of ${n.name(c.run)}, each ${spell(c.leastRunMs)} or longer, ${figure(Math.abs(c.limit), n.unit(c.signal))} ${BEYOND[c.side]} the median of earlier runs`
    case 'day-total':
      return `${n.name(c.signal)} in 24 h comes to more than ${c.factor} times what is usual for as much ${n.name(c.wash)}, and to at least ${c.least} ${QUANTITIES[n.signal(c.signal)?.quantity ?? 'run'].kind === 'counter' ? n.unit(c.signal) : 'min'}`
    case 'drift':
      return `${n.name(c.signal)} drifts by more than ${figure(c.perDay, n.unit(c.signal))} a day over ${days(c.spanMs)}`
    case 'forecast':
      return `${n.name(c.signal)} is expected at ${figure(c.limit, n.unit(c.signal))} in less than ${spell(c.belowMs)}`
    case 'all-of':
      return `${c.of.map((x) => (x.kind === 'any-of' ? `(${saidCondition(x, n)})` : saidCondition(x, n))).join(' and ')}${c.withinMs > 0 ? `, within ${spell(c.withinMs)}` : ''}`
    case 'any-of':
      return c.of.map((x) => saidCondition(x, n)).join(' or ')
  }
}

const DAY_MS = 86_400_000
const days = (ms: number): string => (ms % DAY_MS === 0 && ms > DAY_MS ? `${ms / DAY_MS} days` : spell(ms))

function stateWord(s: Signal | null, value: 0 | 1): string {
  const spec = s ? QUANTITIES[s.quantity] : null
  const words = spec && 'states' in spec ? spec.states : null
  return words?.[value] ?? (value === 1 ? 'on' : 'off')
}

const inSentence = (name: string): string => (/^[A-Z][a-z]/.test(name) ? name.slice(0, 1).toLowerCase() + name.slice(1) : name)

/** At most ten figures: 0.1 + 0.2 reads 0.3. */
export const figure = (v: number, unit: string): string => `${Number(v.toPrecision(10))}${unit === '' ? '' : ` ${unit}`}`

const unitText = (code: string): string => UNITS[code]?.text ?? code
