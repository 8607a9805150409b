/** Seeded chance of good length (mulberry32) and normal values from it, for runs by the hundred. */
export function chance(seed: number): () => number {
  let a = seed | 0
  return () => {
    a = (a + 0x6d2b79f5) | 0
    let t = Math.imul(a ^ (a >>> 15), 1 | a)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return (((t ^ (t >>> 14)) >>> 0) + 0.5) / 4_294_967_296
  }
}

export const normalOf =
  (next: () => number): (() => number) =>
  () =>
    Math.sqrt(-2 * Math.log(next())) * Math.cos(2 * Math.PI * next())
