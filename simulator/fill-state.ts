/** How far the past of a fleet has been told, kept in a file, so that a start after a stop goes on and a start after the end does nothing. */
import { readFileSync, renameSync, writeFileSync } from 'node:fs'
import type { Fault } from './faults/fault.ts'
import { nothingTold, shareOf, type Told } from './fill.ts'

export interface FillState {
  readonly fleet: string
  readonly seed: number
  readonly fromMs: number
  readonly toMs: number
  readonly sites: Readonly<Record<string, Told>>
  /** As they were known at the first start: a past that is told in two goes is still one past. */
  readonly faults: readonly Fault[]
  /** What people did in that time, for whoever keeps the site log. */
  readonly attended: readonly { readonly site: string; readonly kind: string; readonly atMs: number; readonly endMs: number }[]
  /** Share told, 0 to 1. */
  readonly share: number
  /** When the last of it was acknowledged; null: not yet. */
  readonly doneMs: number | null
}

/** null: there is no such file. Throws when it holds something else. */
export function readFillState(file: string): FillState | null {
  let text: string
  try {
    text = readFileSync(file, 'utf8')
  } catch {
    return null
  }
  const o = JSON.parse(text) as Partial<FillState>
  if (typeof o.fromMs !== 'number' || typeof o.toMs !== 'number' || typeof o.sites !== 'object') throw new Error('it is not the state of a fill')
  return o as FillState
}

/** Whole or not at all, whenever the program ends. */
export function writeFillState(file: string, state: FillState): void {
  writeFileSync(`${file}.new`, `${JSON.stringify(state, null, 1)}\n`)
  renameSync(`${file}.new`, file)
}

export function begun(fleet: string, seed: number, sites: readonly string[], fromMs: number, toMs: number, faults: readonly Fault[]): FillState {
  const told = Object.fromEntries(sites.map((s) => [s, nothingTold(fromMs, toMs)]))
  return { fleet, seed, fromMs, toMs, sites: told, faults, attended: attended(faults), share: 0, doneMs: null }
}

/** What people did, among the faults: some kinds are no faults of a plant. */
const attended = (faults: readonly Fault[]): FillState['attended'] =>
  faults.flatMap((f) =>
    f.kind === 'visit' || f.kind === 'calibration' || f.kind === 'reseeding' ? { site: f.site, kind: f.kind, atMs: f.onsetMs, endMs: f.endMs ?? f.onsetMs + 3_600_000 } : [],
  )

export function withTold(state: FillState, site: string, told: Told): FillState {
  const sites = { ...state.sites, [site]: told }
  return { ...state, sites, share: shareOf(Object.values(sites), state.fromMs, state.toMs) }
}

/** Everything but the counters counts towards the share; the fill is over when they are told too. */
export const isOver = (state: FillState): boolean => Object.values(state.sites).every((t) => t.meters)
