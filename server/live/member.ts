/** One browser at the live socket: what it has seen, what it wants, and how much waits for it. */
import type { Person } from '../people/access.ts'

/** The connection as the fan-out sees it. */
export interface Line {
  send(frame: Buffer): void
  /** Bytes given to `send` that the other side has not taken. */
  waiting(): number
  close(code: number, reason: string): void
  ping(): void
  cut(): void
}

export interface Member {
  readonly line: Line
  readonly person: Person
  /** Turn of values seen, per watched site; -1: none yet. */
  readonly watches: Map<string, number>
  fleetSeen: number
  /** Closing has begun: nothing more is sent; cut at this steady time. */
  cutAtMs: number | null
  answeredPing: boolean
  /** Above the slow mark: since when, and how much waited then. */
  stuck: { readonly sinceMs: number; readonly bytes: number } | null
  /** Messages in the minute that began then. */
  minute: { fromMs: number; count: number }
}

export const newMember = (line: Line, person: Person, fleetSeen: number, steadyMs: number): Member => ({
  line,
  person,
  watches: new Map(),
  fleetSeen,
  cutAtMs: null,
  answeredPing: true,
  stuck: null,
  minute: { fromMs: steadyMs, count: 0 },
})
