/**
 * What the surroundings of a signal say of one of its readings: whether its machine runs (`runWhen`), how its companions moved, and
 * what must have moved it by now. Worked out once per signal, asked with every reading. A state that is not known says nothing.
 *
 * times  how long a happening must last before standing still through it is suspect: common practice, no source
 */
import type { Equipment, Signal, Site } from '../site/site.ts'
import type { SignalState } from './checks.ts'
import type { Moving } from './qartod-flat.ts'
import type { Movement } from './qartod-judge.ts'
import type { CheckRow } from './qartod-series.ts'
import type { CheckSpec, MovingEvent } from './qartod-spec.ts'

/** A signal as its surroundings see it: what is known of it now. */
export interface Seen {
  readonly state: SignalState
}

export interface Around {
  readonly runs: Seen | null
  readonly partner: string | null
  readonly second: string | null
  readonly happenings: readonly Happening[]
}

/** All of `machines` have been in the state `is` for `forMs`: by then it must have moved. */
interface Happening {
  readonly machines: readonly Seen[]
  readonly is: 0 | 1
  readonly forMs: number
}

const MIN = 60_000
/** With the air off, oxygen and redox of a living tank move within this; a wash reaches sump and treatment; a pump that doses on and on shows. */
const AFTER_MS: Readonly<Record<Exclude<MovingEvent, 'day-night'>, number>> = { 'air-off': 20 * MIN, wash: 20 * MIN, dose: 10 * MIN }
const DAY_MS = 86_400_000

/** null: its surroundings say nothing of this signal. `seen`: the other signals of the site. */
export function aroundOf(site: Pick<Site, 'equipment' | 'signals'>, signal: Signal, checks: CheckSpec, seen: ReadonlyMap<string, Seen>): Around | null {
  const run = (of: (e: Equipment) => boolean): readonly Seen[] =>
    site.equipment.filter(of).flatMap((e) => {
      const id = site.signals.find((s) => s.at === e.id && s.quantity === 'run')?.id
      return (id === undefined ? undefined : seen.get(id)) ?? []
    })
  const serves = (e: Equipment): boolean => signal.stage !== null && e.serves.includes(signal.stage)
  const happenings = (checks.flat?.moves ?? []).flatMap((event): Happening[] => {
    if (event === 'day-night') return [{ machines: [], is: 1, forMs: DAY_MS }]
    if (event === 'air-off') {
      const machines = run((e) => e.kind === 'aerator' && serves(e))
      // One blower whose state nobody knows, and nothing can be said of the air.
      return machines.length > 0 && machines.length === site.equipment.filter((e) => e.kind === 'aerator' && serves(e)).length ? [{ machines, is: 0, forMs: AFTER_MS[event] }] : []
    }
    const which = event === 'wash' ? run((e) => e.kind === 'washer') : run((e) => e.kind === 'dosing' && serves(e))
    return which.map((m) => ({ machines: [m], is: 1, forMs: AFTER_MS[event] }))
  })
  const runs = checks.flat?.runWhen == null ? null : (seen.get(checks.flat.runWhen) ?? null)
  const [partner, second] = [checks.multivariate?.with ?? null, checks.neighbour?.with ?? null]
  return runs === null && partner === null && second === null && happenings.length === 0 ? null : { runs, partner, second, happenings }
}

/** `movementOf`: the newest movement of a companion, that of the same message included. */
export function surroundings(around: Around, atMs: number, movementOf: (signal: string) => Movement | null): Pick<CheckRow, 'runs' | 'event' | 'partner' | 'second'> {
  const { runs, partner, second, happenings } = around
  const known = runs?.state.newestValue
  return {
    runs: runs === null || known === undefined || known === null ? null : known !== 0,
    event: newestOf(happenings, atMs),
    partner: partner === null ? null : movementOf(partner),
    second: second === null ? null : movementOf(second),
  }
}

/** The newest happening that has lasted long enough; else the one that is on. */
function newestOf(all: readonly Happening[], atMs: number): Moving | null {
  let newest: Moving | null = null
  for (const h of all) {
    const fromMs = h.machines.length === 0 ? atMs - h.forMs : lasting(h)
    if (fromMs === null || fromMs > atMs) continue
    const event = { fromMs, byMs: fromMs + h.forMs }
    const over = event.byMs <= atMs
    if (newest === null || (over && newest.byMs > atMs) || (over === newest.byMs <= atMs && event.fromMs > newest.fromMs)) newest = event
  }
  return newest
}

/** Since when all its machines have been in that state; null: they are not. */
function lasting(h: Happening): number | null {
  let since = Number.NEGATIVE_INFINITY
  for (const { state } of h.machines) {
    if (state.newestValue !== h.is) return null
    since = Math.max(since, state.sinceMs)
  }
  return since
}
