/** Bounds of the live fan-out. Every one has a counter on the health page. */
export interface LiveLimits {
  /** Between two beats of values, ms; 0: no timer, `tick` is called by hand. */
  readonly beatMs: number
  /** Bytes waiting for one browser above which values and loops wait (the newest of each is kept, not a queue). */
  readonly slowBytes: number
  /** Bytes waiting for one browser, alarms included, above which it is closed; a fleet's hello may always wait twice. */
  readonly outboxBytes: number
  /** A browser above `slowBytes` that has taken nothing for this long is closed. */
  readonly stuckMs: number
  readonly browsers: number
  readonly browsersPerPerson: number
  /** Messages one browser may send in a minute. */
  readonly messagesPerMin: number
  /** Between two pings; a browser that has not answered the one before is cut. */
  readonly pingMs: number
}

export const LIMITS: LiveLimits = {
  beatMs: 250,
  slowBytes: 256 * 1024,
  outboxBytes: 8 * 1024 * 1024,
  stuckMs: 30_000,
  browsers: 2000,
  browsersPerPerson: 200,
  messagesPerMin: 120,
  pingMs: 15_000,
}
