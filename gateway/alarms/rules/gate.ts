/** The gate of a rule: when it may raise and learn. A part of it that cannot be read is open: doubt must not silence. */
import { within, type Site } from '../../site/site.ts'
import type { Gate } from '../rule.ts'
import { heard, known, type SignalMemory } from '../signal-memory.ts'
import type { Find, OpenAt } from './ready.ts'

/** Washing that never stops is a stuck signal and no reason to keep quiet. Common practice, no source. */
export const IDLE_TRUST_MS = 4 * 3_600_000

export interface ReadyGate {
  readonly reads: readonly SignalMemory[]
  readonly open: OpenAt
  /** While shut nothing is cleared either. */
  readonly both: boolean
}

const ALWAYS: ReadyGate = { reads: [], open: () => true, both: false }

/** Minutes remembered at once: a row, the hour ahead, and a few stamps that are behind. */
const REMEMBERED = 8

/** Is the yard open? Answered once a minute and remembered: the wall clock is dear, and opening hours are in minutes. */
export function openAt(site: Site): OpenAt {
  const minutes: number[] = []
  const answers: boolean[] = []
  return (atMs) => {
    const minute = Math.floor(atMs / 60_000)
    // An hour ahead has a place of its own.
    const at = (minute + Math.floor(minute / 60)) % REMEMBERED
    if (minutes[at] !== minute) {
      if (minutes.length === 0) for (let i = 0; i < REMEMBERED; i++) minutes.push(-1)
      answers[at] = within(site.open, site.zone, atMs, true)
      minutes[at] = minute
    }
    return answers[at] === true
  }
}

/** Gates of one site: rules that ask the same share one. */
export interface Gates {
  readonly isOpen: OpenAt
  /** null: a signal it names is none of the site's. */
  ready(when: Gate | undefined, find: Find): ReadyGate | null
}

export function createGates(isOpen: OpenAt): Gates {
  const made = new Map<string, ReadyGate | null>()
  return {
    isOpen,
    ready(when, find) {
      if (!when) return ALWAYS
      const asked = JSON.stringify(when)
      let gate = made.get(asked)
      if (gate === undefined) made.set(asked, (gate = readyGate(when, find, isOpen)))
      return gate
    },
  }
}

/** null: a signal it names is none of the site's. */
/** What a gate keeps hold of lives as long as the alarm: nothing here may close over `find`, which knows the whole site. */
function readyGate(when: Gate, find: Find, isOpen: OpenAt): ReadyGate | null {
  const { signalForMs = 0, idleForMs = 0, value, after } = when
  const asked: readonly (readonly [string, (m: SignalMemory) => OpenAt] | null)[] = [
    when.signal === undefined ? null : [when.signal, (m) => whileAtWork(m, signalForMs)],
    when.idle === undefined ? null : [when.idle, (m) => whileAtRest(m, idleForMs)],
    after ? [after.signal, (m) => soonAfter(m, after.withinMs)] : null,
    value ? [value.signal, (m) => whileBeyond(m, value.side === 'high', value.limit)] : null,
  ]
  const parts: OpenAt[] = when.open === true ? [isOpen] : []
  const reads: SignalMemory[] = []
  for (const a of asked) {
    if (a === null) continue
    const m = find(a[0])
    if (!m) return null
    reads.push(m)
    parts.push(a[1](m))
  }
  return { reads: reads.slice(), open: allOf(parts.slice()), both: when.both === true }
}

const allOf = (parts: readonly OpenAt[]): OpenAt => (parts.length === 1 && parts[0] ? parts[0] : (atMs) => parts.every((p) => p(atMs)))

const whileAtWork =
  (m: SignalMemory, forMs: number): OpenAt =>
  (atMs) =>
    !known(m) || (m.value !== 0 && (forMs === 0 || atMs - (m.busySinceMs ?? atMs) >= forMs))

const whileAtRest =
  (m: SignalMemory, forMs: number): OpenAt =>
  (atMs) =>
    atRest(m, atMs, forMs)

const soonAfter =
  (m: SignalMemory, withinMs: number): OpenAt =>
  (atMs) =>
    !known(m) || m.busySinceMs !== null || (m.lastBusyMs >= 0 && atMs - m.lastBusyMs <= withinMs)

const whileBeyond =
  (m: SignalMemory, high: boolean, limit: number): OpenAt =>
  () =>
    !known(m) || (high ? m.value > limit : m.value < limit)

/** At rest for `forMs`; before a signal has ever been at work, its first reading counts as the end of it. */
function atRest(m: SignalMemory, atMs: number, forMs: number): boolean {
  if (!known(m)) return true
  // Rain may go on for a day; washing may not.
  if (m.busySinceMs !== null) return !m.falls && atMs - m.busySinceMs >= IDLE_TRUST_MS
  return forMs === 0 || !heard(m) || atMs - Math.max(m.lastBusyMs, m.firstMs) >= forMs
}
