/**
 * A default alarm before a site's own changes: what every row of the default tables gives, and the words and figures those
 * tables share. All limits are trade judgement: a site setting, and not yet tuned on data unless the row says otherwise.
 */
import type { Quantity } from '../site/quantity.ts'
import type { Signal, Site, Stage } from '../site/site.ts'
import type { AlarmDef, Rule } from './alarm.ts'

/** `key` is `<signal, equipment or "site">.<kind>`, the name a site file changes it by; `alert` asks for no answer. */
export interface Draft extends Omit<AlarmDef, 'id' | 'site' | 'priority' | 'version' | 'protection' | 'owner' | 'reviewedOn' | 'reviewBy'> {
  readonly key: string
  readonly alert?: true
  readonly protection?: string
  /** Given by the site file; else by what holds for the site as a whole. */
  readonly owner?: string
  readonly reviewedOn?: string
}

export const MIN = 60_000
export const HOUR = 60 * MIN

export const UNTUNED = 'not yet tuned on data'
export const PRACTICE = `common practice, no source; ${UNTUNED}`

/** "Bio tank 1" -> "bio tank 1", "Treatment unit" -> "the treatment unit"; names people gave stay as they are. */
export function placeOf(stage: Stage): string {
  const plain = /^(Wash pad|Sump|Paper filter|Treatment unit|Bio tank( \d+)?|Finished water|Pressure washer)$/.test(stage.name)
  if (!plain) return stage.name
  const lower = stage.name.slice(0, 1).toLowerCase() + stage.name.slice(1)
  return /\d$/.test(lower) ? lower : `the ${stage.kind === 'finished' ? 'finished-water tank' : lower}`
}

/** "a", "a and b", "a, b and c"; a run of numbered bio tanks becomes "bio tanks 1 to 4". */
export function placesOf(stages: readonly Stage[]): string {
  const bio = stages.filter((s) => s.kind === 'bio' && /^Bio tank \d+$/.test(s.name))
  const numbers = bio.map((s) => Number(s.name.slice(9)))
  const run = bio.length > 1 && numbers.every((n, i) => i === 0 || n === (numbers[i - 1] ?? 0) + 1)
  const others = stages.filter((s) => !run || !bio.includes(s)).map(placeOf)
  const first = numbers[0] ?? 0
  const last = numbers[numbers.length - 1] ?? 0
  return enumerate(run ? [...others, `bio tanks ${first} ${last === first + 1 ? 'and' : 'to'} ${last}`] : others)
}

export const enumerate = (names: readonly string[]): string => (names.length < 2 ? (names[0] ?? '') : `${names.slice(0, -1).join(', ')} and ${names[names.length - 1]}`)

export const capital = (s: string): string => s.slice(0, 1).toUpperCase() + s.slice(1)

/** "60 min", "2 h". */
export const spell = (ms: number): string => (ms % HOUR === 0 && ms > HOUR ? `${ms / HOUR} h` : ms % MIN === 0 ? `${ms / MIN} min` : `${ms / 1000} s`)

/** Two samples at least: one sample is no run (practice: delays below two intervals are fiction). */
export const delayFor = (signal: Signal, ms: number): number => Math.max(ms, 2 * signal.sampleEveryMs)

export const signalsOf = (site: Site, quantity: Quantity): readonly Signal[] => site.signals.filter((s) => s.quantity === quantity)

/** Stage a signal is measured in, directly, not through a machine that serves it. */
export const stageAt = (site: Site, s: Signal): Stage | null => site.stages.find((x) => x.id === s.at) ?? null

/** What tells that someone is washing: the washer's run contact, or else the counter of its water. */
export function washSignal(site: Site): Signal | null {
  const washers = new Set([...site.stages.filter((s) => s.kind === 'washer').map((s) => s.id), ...site.equipment.filter((e) => e.kind === 'washer').map((e) => e.id)])
  const of = (q: Quantity): Signal | undefined => site.signals.find((s) => s.quantity === q && s.at !== null && washers.has(s.at))
  return of('run') ?? of('volume') ?? of('pulses') ?? null
}

export function limitRule(
  s: Signal,
  side: 'high' | 'low',
  limit: number,
  deadband: number,
  onDelayMs: number,
  offDelayMs: number,
  when?: { readonly open?: true; readonly signal?: string; readonly idle?: string },
): Rule {
  return { kind: 'limit', signal: s.id, side, limit, deadband, onDelayMs: delayFor(s, onDelayMs), offDelayMs: delayFor(s, offDelayMs), ...(when && { when }) }
}

/** State signals come when they change, so a delay shorter than the report is still a run. */
export const stateRule = (s: Signal, value: 0 | 1, onDelayMs: number, offDelayMs: number): Rule => ({ kind: 'state', signal: s.id, value, onDelayMs, offDelayMs })
