/**
 * Times on a yard's wall clock, without a zone, as instants. Clear all year but for two hours: in autumn one hour happens twice, and
 * what comes after what tells which; in spring one is left out, and a time in it comes from a clock that was not put forward.
 *
 * source  common practice, no source; the rule for the doubled hour is written out at `passOf`
 */
import { civilMs } from './payload-time.ts'

export interface WallPlaced {
  /** ms since 1970 UTC, one for each wall time. */
  readonly atMs: readonly number[]
  /** How many lay in the doubled hour and were told apart by their order. */
  readonly doubled: number
  /** How many lay in the hour that is left out; they are taken as if the clock had not been put forward. */
  readonly missing: number
}

interface Candidates {
  /** First and, in the doubled hour, second time the clock showed this. Equal on all other days. */
  readonly first: number
  readonly second: number
  readonly exists: boolean
}

const DAY_MS = 86_400_000
/** A stamp may be so far ahead of ours and still be meant for now. */
const AHEAD_MS = 120_000

/**
 * Places the rows of one message.
 *
 * wallMs  wall clock of each row read as if it were UTC, in the order of the message
 * lastMs  newest row placed before, of an earlier message; null: none
 */
export function placeWall(wallMs: readonly number[], zone: string, lastMs: number | null, receivedMs: number): WallPlaced {
  const found = wallMs.map((w) => candidatesOf(w, zone))
  const missing = found.reduce((sum, c) => sum + (c.exists ? 0 : 1), 0)
  if (found.every((c) => c.first === c.second)) return { atMs: found.map((c) => c.first), doubled: 0, missing }
  // Some controllers send the newest row first.
  const backwards = isFalling(found)
  const inOrder = backwards ? found.toReversed() : found
  const placed = placeInOrder(inOrder, lastMs, receivedMs)
  return { atMs: backwards ? placed.toReversed() : placed, doubled: found.filter((c) => c.first !== c.second).length, missing }
}

function placeInOrder(rows: readonly Candidates[], lastMs: number | null, receivedMs: number): readonly number[] {
  const out: number[] = []
  let before = lastMs
  for (let i = 0; i < rows.length; ) {
    const row = rows[i]
    if (!row) break
    if (row.first === row.second) {
      out.push(row.first)
      before = row.first
      i++
      continue
    }
    let end = i
    while (end < rows.length && rows[end]?.first !== rows[end]?.second) end++
    const run = rows.slice(i, end)
    const back = run.findIndex((c, k) => k > 0 && c.first < (run[k - 1]?.first ?? 0))
    if (back > 0) run.forEach((c, k) => out.push(k < back ? c.first : c.second))
    else {
      const pass = passOf(run, before, rows[end]?.first ?? receivedMs + AHEAD_MS, end === rows.length)
      for (const c of run) out.push(c[pass])
    }
    before = out.at(-1) ?? before
    i = end
  }
  return out
}

/**
 * A run of rows in the doubled hour whose clock never steps back. The first pass, unless it would stand before what we had, or the
 * second one fits closer to what comes before or after it (the next row; when there is none, the moment of arrival).
 */
function passOf(run: readonly Candidates[], before: number | null, after: number, toArrival: boolean): 'first' | 'second' {
  const begin = run[0]
  const end = run.at(-1)
  if (!begin || !end) return 'first'
  if (end.second > after) return 'first'
  if (before !== null && begin.first < before) return 'second'
  const arrived = toArrival ? after - AHEAD_MS : after
  const gap = (from: number, to: number): number => Math.min(before === null ? Number.POSITIVE_INFINITY : from - before, Math.abs(arrived - to))
  return gap(begin.second, end.second) < gap(begin.first, end.first) ? 'second' : 'first'
}

function isFalling(rows: readonly Candidates[]): boolean {
  let down = 0
  let up = 0
  for (let i = 1; i < rows.length; i++) {
    const step = (rows[i]?.first ?? 0) - (rows[i - 1]?.first ?? 0)
    if (step < 0) down++
    else if (step > 0) up++
  }
  return down > up
}

function candidatesOf(wall: number, zone: string): Candidates {
  const early = offsetMs(zone, wall - DAY_MS)
  const late = offsetMs(zone, wall + DAY_MS)
  if (early === late) return { first: wall - early, second: wall - early, exists: true }
  const [a, b] = [wall - early, wall - late]
  const [aIs, bIs] = [offsetMs(zone, a) === early, offsetMs(zone, b) === late]
  if (aIs && bIs) return { first: Math.min(a, b), second: Math.max(a, b), exists: true }
  if (bIs) return { first: b, second: b, exists: true }
  return { first: a, second: a, exists: aIs }
}

/** Zones change on quarters of an hour. */
const QUARTER_MS = 900_000
const MOST_REMEMBERED = 20_000
const formats = new Map<string, Intl.DateTimeFormat>()
const remembered = new Map<string, number>()

/** What the wall clock of `zone` is ahead of UTC at `atMs`, ms. */
function offsetMs(zone: string, atMs: number): number {
  const quarter = Math.floor(atMs / QUARTER_MS) * QUARTER_MS
  const key = `${zone} ${quarter}`
  const known = remembered.get(key)
  if (known !== undefined) return known
  let f = formats.get(zone)
  if (!f) {
    f = new Intl.DateTimeFormat('en-GB', {
      timeZone: zone,
      year: 'numeric',
      month: 'numeric',
      day: 'numeric',
      hour: 'numeric',
      minute: 'numeric',
      second: 'numeric',
      hourCycle: 'h23',
    })
    formats.set(zone, f)
  }
  const part: Record<string, number> = {}
  for (const p of f.formatToParts(quarter)) part[p.type] = Number(p.value)
  const offset = civilMs(part.year ?? 0, part.month ?? 1, part.day ?? 1, part.hour ?? 0, part.minute ?? 0, part.second ?? 0) - quarter
  if (remembered.size >= MOST_REMEMBERED) remembered.clear()
  remembered.set(key, offset)
  return offset
}
