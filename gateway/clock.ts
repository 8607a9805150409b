/**
 * Time, handed in. `nowMs` stamps (ms since 1970 UTC, may step when the machine's clock is set); `steadyMs` measures
 * elapsed time (never steps). The real clock lives in gateway/main.ts; tests advance one by hand.
 */
export interface Clock {
  nowMs(): number
  steadyMs(): number
}
