/** Durations as people write them in a site file: `10s`, `5min`, `2h`, `3d`. Bare numbers are refused: a unit ends every length of time. */
const UNIT_MS: Readonly<Record<string, number>> = { ms: 1, s: 1000, min: 60_000, h: 3_600_000, d: 86_400_000 }

/** Milliseconds of `text`, or null when it is not a duration. */
export function durationMs(text: string): number | null {
  const m = /^\s*(\d+(?:\.\d+)?)\s*(ms|s|min|h|d)\s*$/.exec(text)
  return m ? Math.round(Number(m[1]) * (UNIT_MS[m[2] ?? ''] ?? Number.NaN)) : null
}
