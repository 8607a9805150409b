/**
 * Chance with a seed: the same seed gives the same numbers on every machine. Two kinds, because the plant needs both:
 * a stream (`prng`), and numbers drawn for a named moment (`draw`) that do not depend on what was asked before, so that
 * the weather of a day is the same whether the run began that morning or a month earlier.
 * Generator: splitmix-seeded 32-bit counter hash (public domain constants of MurmurHash3's finaliser).
 */
export type Prng = () => number

const mix = (x: number): number => {
  let h = x | 0
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b)
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35)
  return (h ^ (h >>> 16)) >>> 0
}

/** 32-bit number of a text, for seeding by name. */
export function hashText(text: string): number {
  let h = 0x811c9dc5
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193)
  return mix(h)
}

/** A stream of numbers, each at least 0 and below 1. */
export function prng(seed: number, name = ''): Prng {
  let state = mix(seed ^ hashText(name))
  return () => {
    state = (state + 0x9e3779b9) | 0
    return (mix(state) + mix(state ^ 0x5bd1e995) / 4294967296) / 4294967296
  }
}

/** One number, at least 0 and below 1, that belongs to (seed, name, n) alone. */
export const draw = (seed: number, name: string, n: number): number => mix(mix(seed ^ hashText(name)) + Math.imul(n | 0, 0x9e3779b9)) / 4294967296

/** `draw` for one seed and name, many times. */
export const drawing = (seed: number, name: string): ((n: number) => number) => {
  const start = mix(seed ^ hashText(name))
  return (n) => mix(start + Math.imul(n | 0, 0x9e3779b9)) / 4294967296
}

/** Standard normal from one stream (Box and Muller 1958). */
export function normal(next: Prng): number {
  const u = 1 - next()
  return Math.sqrt(-2 * Math.log(u)) * Math.cos(2 * Math.PI * next())
}

/** Standard normal that belongs to (seed, name, n) alone. */
export const drawNormal = (seed: number, name: string, n: number): number =>
  Math.sqrt(-2 * Math.log(1 - draw(seed, name, 2 * n))) * Math.cos(2 * Math.PI * draw(seed, name, 2 * n + 1))
