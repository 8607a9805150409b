/**
 * The link to the server as a state machine: pure, so that its deadlines can be tested without waiting. The server beats every
 * 2 s; 8 s without a message, and the page says it is lost, which leaves 2 s of the promised 10 for the next look at the clock.
 */
export const LOST_AFTER_MS = 8_000
const FIRST_RETRY_MS = 500
const LONGEST_RETRY_MS = 15_000

export interface LinkState {
  /** Steady or wall ms of the last message; the page's opening before the first. */
  readonly lastMs: number
  readonly lost: boolean
  readonly open: boolean
  /** Failed tries in a row. */
  readonly tries: number
}

export const opened = (atMs: number): LinkState => ({ lastMs: atMs, lost: false, open: false, tries: 0 })
export const onMessage = (s: LinkState, atMs: number): LinkState => ({ lastMs: atMs, lost: false, open: true, tries: 0 })
export const onClose = (s: LinkState): LinkState => ({ ...s, open: false, tries: s.tries + 1 })
export const onTick = (s: LinkState, atMs: number): LinkState => (s.lost || atMs - s.lastMs < LOST_AFTER_MS ? s : { ...s, lost: true })

/** Wait before the next try: doubling, capped, spread so that a thousand pages do not come back at once. `random` 0 to 1. */
export const retryMs = (s: LinkState, random: number): number => Math.min(LONGEST_RETRY_MS, FIRST_RETRY_MS * 2 ** Math.min(10, Math.max(0, s.tries - 1))) * (0.5 + random)
