/**
 * What a rate over a span is taken from: a few readings of the last `spanMs`, a tenth of it apart at least, so that memory does not
 * grow with the rate of a signal. At most twelve.
 */
export interface Anchor {
  readonly atMs: number
  readonly x: number
}

/** Adds a reading, in order of time, and drops what nothing is held against any more. */
export function anchored(anchors: readonly Anchor[], next: Anchor, spanMs: number): readonly Anchor[] {
  const last = anchors.at(-1)
  if (last && next.atMs - last.atMs < spanMs / 10) return anchors
  const old = anchors.findLastIndex((a) => a.atMs <= next.atMs - spanMs)
  return [...anchors.slice(Math.max(0, old)), next]
}

/** The newest anchor at least `spanMs` older than `atMs`; else the oldest there is; null: none. */
export function heldAgainst(anchors: readonly Anchor[], atMs: number, spanMs: number): Anchor | null {
  return anchors.findLast((a) => a.atMs <= atMs - spanMs) ?? anchors[0] ?? null
}
