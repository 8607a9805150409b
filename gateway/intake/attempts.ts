/** Counts failures by name within a window, so that guessing gets slow. Bounded: the name unseen for longest is forgotten. */
export interface Attempts {
  failed(name: string, steadyMs: number): void
  tooMany(name: string, steadyMs: number): boolean
}

export function createAttempts(most: number, windowMs: number, names = 2000): Attempts {
  const seen = new Map<string, { sinceMs: number; count: number }>()
  return {
    failed(name, steadyMs) {
      const was = seen.get(name)
      if (was && steadyMs - was.sinceMs < windowMs) {
        was.count++
        return
      }
      seen.delete(name)
      if (seen.size >= names) {
        for (const oldest of seen.keys()) {
          seen.delete(oldest)
          break
        }
      }
      seen.set(name, { sinceMs: steadyMs, count: 1 })
    },
    tooMany(name, steadyMs) {
      const was = seen.get(name)
      return was !== undefined && steadyMs - was.sinceMs < windowMs && was.count >= most
    },
  }
}
