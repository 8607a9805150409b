/** How what comes next is said: when (about), between what, and on what it rests; and how a normal band is said beside a figure. */
import type { ForecastsBody, NormalBody } from '../../server/wire.ts'
import { figure, measured } from '../words/numbers.ts'
import { clock, date, dayOfYear, moment, timeLeft } from '../words/times.ts'

export type Coming = ForecastsBody['expected'][number]
export type NormalOf = NormalBody['signals'][number]

const HOUR_MS = 3_600_000
/** Nearer than this the hour matters, beyond it the day. */
const BY_CLOCK_MS = 36 * HOUR_MS

export interface SaidComing {
  /** "in about 3 h", "about 5 Dec", "now". */
  readonly when: string
  /** "3 to 9 Dec". */
  readonly between: string
  readonly rests: string
}

export function saidComing(e: Coming, zone: string, nowMs: number): SaidComing {
  const left = e.left === null ? '' : `${measured(e.left.value, e.left.value < 10 ? 1 : 0, e.left.unit)} left`
  const rests = [left, e.basis].filter((x) => x !== '' && x !== null).join(', ')
  if (e.says === 'reached') return { when: 'now', between: '', rests: left }
  if (e.says === 'beyond' && e.untilMs !== null) return { when: `not before ${dayOfYear(e.untilMs, zone, nowMs)}`, between: 'more likely than not', rests }
  if (e.medianMs === null || e.lowMs === null) return { when: '–', between: '', rests }
  const near = e.medianMs - nowMs < BY_CLOCK_MS
  const say = (ms: number): string => (near ? clockOrMoment(ms, zone, nowMs) : dayOfYear(ms, zone, nowMs))
  const [low, high] = [say(e.lowMs), e.highMs === null ? null : say(e.highMs)]
  return {
    when: near ? `in about ${timeLeft((e.medianMs - nowMs) / 60_000)}` : `about ${say(e.medianMs)}`,
    between: high === null ? `${low} or later, with no sure end` : low === high ? low : `${shortened(low, high)} to ${high}`,
    rests,
  }
}

/** "6 Jan 2027" before "to 30 Jan 2027" is "6"; before "to 3 Feb 2027" it is "6 Jan". */
function shortened(low: string, high: string): string {
  const [a, b] = [low.split(' '), high.split(' ')]
  while (a.length > 1 && a.length === b.length && a.at(-1) === b.at(-1) && !low.includes(':')) {
    a.pop()
    b.pop()
  }
  return a.join(' ')
}

const clockOrMoment = (ms: number, zone: string, nowMs: number): string => (ms - nowMs < 12 * HOUR_MS ? clock(ms, zone) : moment(ms, zone, nowMs))

/** Those with a date or reached, in their order; those not in sight (nothing is missing, it does not come near); those that cannot be told. */
export function sorted(all: readonly Coming[]): { readonly told: readonly Coming[]; readonly notInSight: readonly Coming[]; readonly withheld: readonly Coming[] } {
  return {
    told: all.filter((e) => e.says !== 'withheld'),
    notInSight: all.filter((e) => e.says === 'withheld' && e.unlock === null),
    withheld: all.filter((e) => e.says === 'withheld' && e.unlock !== null),
  }
}

export interface SaidNormal {
  /** "usually 85 to 98 %", "no band yet: 12 of 28 days". */
  readonly text: string
  readonly has: boolean
  readonly outside: 'below' | 'above' | null
}

/** value: the figure as it is now; the band may be half an hour older. */
export function saidNormal(n: NormalOf | undefined, digits: number, unit: string, value: number | null): SaidNormal | null {
  if (!n) return null
  if (n.band === null) return { text: n.days < n.needed ? `no band yet: ${n.days} of ${n.needed} days` : 'no band for an hour like this yet', has: false, outside: null }
  const outside = value === null ? null : value < n.band.low ? 'below' : value > n.band.high ? 'above' : null
  return { text: `usually ${figure(n.band.low, digits)} to ${measured(n.band.high, digits, unit)}`, has: true, outside }
}

const CONDITION: Readonly<Record<string, string>> = { washedM3: 'water washed', sinceWashH: 'time since the wash', waterCel: 'water temperature', hourOfDay: 'time of day' }

/** Both numbers in full, for the panel. */
export function normalAtLength(n: NormalOf, digits: number, unit: string, paused: string | null): readonly string[] {
  const out: string[] = []
  if (n.band) {
    const missing = n.band.notCompared.filter((c) => c !== 'hourOfDay').map((c) => CONDITION[c] ?? c)
    const alike = missing.length === 0 ? 'as much washed, as long since the last wash, water as warm' : `${missing.join(' and ')} could not be compared`
    out.push(
      `Now: ${figure(n.band.low, digits)} to ${measured(n.band.high, digits, unit)}, middle ${figure(n.band.middle, digits)}, from ${n.band.hours} hours like this one on ${n.band.days} days (${alike}).`,
    )
  } else out.push(`No band yet: ${(n.why ?? '').replace(/: no band yet$/, '')}.`)
  if (n.first)
    out.push(
      `First weeks, up to ${date(new Date(n.first.atMs).toISOString().slice(0, 10))}: ${figure(n.first.value, digits)}, its days differing by ${figure(n.first.sd, digits)}. Frozen.`,
    )
  else out.push('First weeks: not yet; 28 days that may be learned from are needed.')
  if (n.against?.crept) out.push('The band has left the first weeks by more than three of their deviations.')
  if (paused) out.push(`Learning is paused: ${paused}.`)
  return out
}
