/** Times of one message as instants: wall clocks placed in their zone, and a person's correction for a clock that is known to be wrong. */
import type { Site } from '../site/site.ts'
import type { RawReading } from './payload.ts'
import { placeWall } from './payload-wall.ts'

export interface Placed {
  readonly raws: readonly RawReading[]
  /** Newest wall row, for the next message; null: there was none. */
  readonly lastMs: number | null
  readonly doubled: number
  readonly missing: number
}

/** `lastMs`: newest wall row of an earlier message of the same site; null: none. */
export function placed(raws: readonly RawReading[], site: Pick<Site, 'zone' | 'clock'>, lastMs: number | null, receivedMs: number): Placed {
  const { correctMs, naive } = site.clock
  let out = raws
  let rows: { readonly lastMs: number; readonly doubled: number; readonly missing: number } | null = null
  if (naive === 'wall' && raws.some((r) => r.wall)) [out, rows] = onWall(raws, site, lastMs, receivedMs)
  if (correctMs !== 0) out = out.map((r) => (r.sentMs === null ? r : { ...r, sentMs: r.sentMs + correctMs }))
  return { raws: out, lastMs: rows?.lastMs ?? null, doubled: rows?.doubled ?? 0, missing: rows?.missing ?? 0 }
}

function onWall(
  raws: readonly RawReading[],
  site: Pick<Site, 'zone' | 'clock'>,
  lastMs: number | null,
  receivedMs: number,
): [readonly RawReading[], { lastMs: number; doubled: number; missing: number }] {
  // Readings of one row stand together; each row is placed once.
  const rows: number[] = []
  const rowOf: number[] = []
  for (const r of raws) {
    if (r.wall && r.sentMs !== null && r.sentMs !== rows.at(-1)) rows.push(r.sentMs)
    rowOf.push(rows.length - 1)
  }
  // The order is that of the controller's clock, so what a person corrects comes after.
  const p = placeWall(rows, site.zone, lastMs, receivedMs - site.clock.correctMs)
  const out = raws.map((r, i): RawReading => {
    if (!r.wall) return r
    const { wall: _, ...rest } = r
    return { ...rest, sentMs: p.atMs[rowOf[i] ?? 0] ?? null }
  })
  return [out, { lastMs: Math.max(lastMs ?? Number.NEGATIVE_INFINITY, ...p.atMs), doubled: p.doubled, missing: p.missing }]
}
