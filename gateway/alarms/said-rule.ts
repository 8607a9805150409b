/** A rule in words: when it raises and clears, when it is held back by design, and on which signal it rests. */
import { QUANTITIES } from '../site/quantity.ts'
import type { Signal, Site } from '../site/site.ts'
import { UNITS } from '../site/units.ts'
import type { Rule } from './alarm.ts'
import { spell } from './draft.ts'

export interface SaidRule {
  readonly raises: string
  readonly suppressed: string
  /** null: the loop as a whole, or a computed signal. */
  readonly rests: Signal | null
  readonly onDelayMs: number
}

/** Holds for every alarm: people see to it before a rule does. */
const ALWAYS = 'On a loop that is out of contract or being commissioned as its state says; readings that are late or bad neither raise nor clear it.'

export function saidRule(site: Site, rule: Rule): SaidRule {
  const find = (id: string | null): Signal | null => site.signals.find((s) => s.id === id) ?? null
  const nameOf = (id: string): string => inSentence(find(id)?.name ?? id)
  const held = (gates: readonly string[]): string => [...gates, ALWAYS].join(' ')
  switch (rule.kind) {
    case 'limit': {
      const s = find(rule.signal)
      const unit = s ? unitText(s.unit) : ''
      const clear = rule.side === 'high' ? rule.limit - rule.deadband : rule.limit + rule.deadband
      const gates = [
        ...(rule.when?.open ? ['Raises nothing while the yard is closed.'] : []),
        ...(rule.when?.signal === undefined ? [] : [`Raises nothing while ${nameOf(rule.when.signal)} is off.`]),
        ...(rule.when?.idle === undefined ? [] : ['Raises nothing while somebody washes, for 4 h at most.']),
      ]
      return {
        raises: `${nameOf(rule.signal)} ${rule.side === 'high' ? 'above' : 'below'} ${figure(rule.limit, unit)} for ${spell(rule.onDelayMs)}; clears ${rule.side === 'high' ? 'at or below' : 'at or above'} ${figure(clear, unit)} for ${spell(rule.offDelayMs)}`,
        suppressed: held(gates),
        rests: s,
        onDelayMs: rule.onDelayMs,
      }
    }
    case 'state': {
      const s = find(rule.signal)
      const words = s ? stateWords(s)[rule.value] : String(rule.value)
      return {
        raises: `${nameOf(rule.signal)} ${words} for ${spell(rule.onDelayMs)}; clears after ${spell(rule.offDelayMs)} of the other`,
        suppressed: held([]),
        rests: s,
        onDelayMs: rule.onDelayMs,
      }
    }
    case 'no-air': {
      const s = find(rule.proof) ?? find(rule.run)
      const unit = s ? unitText(s.unit) : ''
      const proof = rule.proof !== null && rule.proofLow !== null ? `${nameOf(rule.proof)} below ${figure(rule.proofLow, unit)}` : `${nameOf(rule.run ?? rule.equipment)} stopped`
      const fast = rule.oxygen === null ? '' : `, for ${spell(rule.fastOnDelayMs)} once oxygen is below ${rule.doFastBelow} mg/L`
      return {
        raises: `${proof} for ${spell(rule.onDelayMs)}${fast}; clears after ${spell(rule.offDelayMs)} of air`,
        suppressed: held(['Never: neither an air-off test nor washing holds it back.']),
        rests: s,
        onDelayMs: rule.onDelayMs,
      }
    }
    case 'water-left':
      return {
        raises: `less than ${rule.belowMin} min of washing left for ${spell(rule.onDelayMs)}: what stands above ${rule.emptyPct} % of ${rule.volumeL} L, at ${rule.lanceLPerMin} L/min; clears at ${rule.belowMin + rule.deadbandMin} min`,
        suppressed: held(['Raises nothing while the yard is closed, but for the hour before it opens.']),
        rests: find(rule.level),
        onDelayMs: rule.onDelayMs,
      }
    case 'silent':
      return { raises: `nothing heard of the loop for ${spell(rule.afterMs)}; clears with the next message`, suppressed: held([]), rests: null, onDelayMs: rule.afterMs }
    case 'blind':
      return {
        raises: `nothing usable of ${nameOf(rule.signal)} for ${spell(rule.afterMs)} while the loop reports; clears with the next usable value`,
        suppressed: held(['Raises nothing while the whole loop is silent.']),
        rests: find(rule.signal),
        onDelayMs: rule.afterMs,
      }
  }
}

const stateWords = (s: Signal): readonly [string, string] => {
  const spec = QUANTITIES[s.quantity]
  return 'states' in spec ? (spec.states as readonly [string, string]) : ['off', 'on']
}

const inSentence = (name: string): string => (/^[A-Z][a-z]/.test(name) ? name.slice(0, 1).toLowerCase() + name.slice(1) : name)

const figure = (v: number, unit: string): string => `${Number(v.toPrecision(10))}${unit === '' ? '' : ` ${unit}`}`

const unitText = (code: string): string => UNITS[code]?.text ?? code
