/** Readings as loops send them, for the history bench: two and three decimals, slow swings, noise, some flat, some stepping. Same seed, same readings. */
import type { Reading } from '../../gateway/site/reading.ts'

export class Noise {
  private state: number
  constructor(seed: number) {
    this.state = seed
  }
  /** -0.5 to 0.5. */
  next(): number {
    this.state = (this.state * 48_271) % 2_147_483_647
    return this.state / 2_147_483_647 - 0.5
  }
}

/** Value of the k-th kind of signal at second `s`: oxygen, pH, level, redox, power, flow, hours, a switch. */
export function valueOf(k: number, s: number, noise: Noise): number {
  const day = Math.sin((2 * Math.PI * s) / 86_400 + k)
  switch (k % 8) {
    case 0:
      return Math.round(100 * (6 + 2 * day + 0.06 * noise.next())) / 100
    case 1:
      return Math.round(100 * (7.4 + 0.2 * day + 0.02 * noise.next())) / 100
    case 2:
      return Math.round(10 * (70 + 20 * day + 0.3 * noise.next())) / 10
    case 3:
      return Math.round(250 + 60 * day + 4 * noise.next())
    case 4:
      return Math.round(1000 * (1.1 + 0.05 * noise.next() + (day > 0.3 ? 0.8 : 0))) / 1000
    case 5:
      return day > 0.5 ? Math.round(10 * (22 + noise.next())) / 10 : 0
    case 6:
      return Math.floor(s / 36) / 100
    default:
      return day > 0 ? 1 : 0
  }
}

export const reading = (key: string, sourceMs: number, receivedMs: number, value: number): Reading => ({
  key,
  sourceMs,
  receivedMs,
  value,
  quality: 'good',
  sub: 'ok',
  qc: 1,
  clock: 'ok',
  live: true,
})
