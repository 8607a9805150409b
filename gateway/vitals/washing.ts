/**
 * When and how much is washed, from the best the loop has: a meter; a flow; the current of the washer, which says when the trigger is pulled;
 * its contact, which also counts the time between pulls, so that litres from it are "at most".
 */
import type { Signal, Site } from '../site/site.ts'
import { tallyCounter, tallyHeld, type Tally } from './counting.ts'
import type { Grade } from './grade.ts'
import type { LogBook } from './log-book.ts'
import type { Memory } from './memory.ts'
import { lanceOf, machinesOf, washerSignal } from './places.ts'
import type { Slots } from './slots.ts'

/** A plunger pump on its unloader draws 0.3 to 0.5 of what it draws under load. Common practice, no source. */
const TRIGGER_SHARE = 0.6
/** No washer moves more, L/min. */
const MOST_L_PER_MIN = 400

export interface Washing {
  readonly signal: Signal
  readonly how: 'meter' | 'flow' | 'current' | 'contact'
  /** Litres. */
  readonly tally: Tally
  /** Is the figure only an upper one. */
  readonly atMost: boolean
  /** Doubt about the litres, share (standard deviation). Common practice, no source. */
  readonly doubt: number
  /** Last moment something was washed, ms; null: not seen yet. */
  readonly lastMs: () => number | null
  /** Since when washing is watched without seeing any. */
  readonly sinceMs: () => number | null
  /** true: now; null: not known. */
  readonly now: (atMs: number) => boolean | null
}

interface LastWash {
  lastMs: number | null
  sinceMs: number | null
}

/** null: nothing tells when it is washed. */
export function washingOf(site: Site, slots: Slots, memory: Memory, book: LogBook): Washing | null {
  const found = best(site)
  const slot = found && slots.of(found.signal.id)
  if (!found || !slot) return null
  const { how, signal } = found
  const lance = lanceOf(site)
  const replaced = (): readonly number[] => book.of('replacement').flatMap((n) => (n.about === signal.id ? n.atMs : []))
  const plate = machinesOf(site, 'washer')[0]?.nameplateA ?? null
  const tally =
    how === 'meter'
      ? tallyCounter(slot, memory, MOST_L_PER_MIN * 60, replaced, signal.unit === 'm3' ? 1000 : 1)
      : how === 'flow'
        ? tallyHeld(slot, memory, 60)
        : how === 'current'
          ? tallyHeld(slot, memory, (lance ?? 0) * 60, (a) => (a > TRIGGER_SHARE * (plate ?? 0) ? 1 : 0))
          : tallyHeld(slot, memory, (lance ?? 0) * 60)
  const state = memory.of<LastWash>('last wash', () => ({ lastMs: null, sinceMs: null }))
  slot.listeners.push((s) => {
    state.sinceMs ??= s.atMs
  })
  tally.listeners.push((_amount: number, _from: number, toMs: number, _grade: Grade) => {
    state.lastMs = toMs
  })
  return {
    signal,
    how,
    tally,
    atMost: how === 'contact',
    doubt: how === 'meter' ? 0.01 : how === 'flow' ? 0.02 : how === 'current' ? 0.08 : 0.1,
    lastMs: () => state.lastMs,
    sinceMs: () => state.sinceMs,
    now: (atMs) => (atMs - slot.atMs > slot.holdMs ? null : state.lastMs !== null && atMs - state.lastMs <= Math.max(120_000, 2 * signal.sampleEveryMs)),
  }
}

function best(site: Site): { readonly signal: Signal; readonly how: Washing['how'] } | null {
  const volume = washerSignal(site, 'volume')
  if (volume) return { signal: volume, how: 'meter' }
  const flow = washerSignal(site, 'flow')
  if (flow) return { signal: flow, how: 'flow' }
  if (lanceOf(site) === null) return null
  const current = washerSignal(site, 'current')
  if (current && (machinesOf(site, 'washer')[0]?.nameplateA ?? 0) > 0) return { signal: current, how: 'current' }
  const run = washerSignal(site, 'run')
  return run ? { signal: run, how: 'contact' } : null
}
