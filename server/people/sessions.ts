/**
 * Browsers that are signed in, kept in `<data>/sessions.json` so that a restart signs nobody out. The cookie holds a secret,
 * the file its digest: a copy of the file opens no door.
 */
import { renameSync } from 'node:fs'
import { z } from 'zod'
import { readPrivate, writePrivate } from './private-file.ts'
import { digestOf, isSecret, newSecret } from './secret.ts'

const sessionSchema = z.object({ digest: z.string().length(43), name: z.string().min(1).max(80), sinceMs: z.number().int(), untilMs: z.number().int() })
export type Session = z.infer<typeof sessionSchema>

/** Thirty days: a phone beside the bed must not ask for a sign-in at three in the morning. */
export const SESSION_MS = 30 * 86_400_000
const MOST_SESSIONS = 1000

export interface Sessions {
  /** Gives the secret for the cookie. */
  open(name: string, nowMs: number): { readonly secret: string; readonly session: Session }
  find(secret: string, nowMs: number): Session | null
  /** Still there and not run out? */
  lives(digest: string, nowMs: number): boolean
  end(digest: string): void
  count(nowMs: number): number
}

export function openSessions(file: string, log: (line: string) => void): Sessions {
  const sessions = new Map<string, Session>()
  for (const s of readSessions(file, log)) sessions.set(s.digest, s)
  const keep = (): void => writePrivate(file, `${JSON.stringify([...sessions.values()], null, 1)}\n`)
  const alive = (s: Session | undefined, nowMs: number): boolean => s !== undefined && s.untilMs > nowMs
  return {
    open(name, nowMs) {
      for (const s of sessions.values()) if (!alive(s, nowMs)) sessions.delete(s.digest)
      while (sessions.size >= MOST_SESSIONS) sessions.delete(sessions.keys().next().value ?? '')
      const secret = newSecret()
      const session: Session = { digest: digestOf(secret), name, sinceMs: nowMs, untilMs: nowMs + SESSION_MS }
      sessions.set(session.digest, session)
      keep()
      return { secret, session }
    },
    find(secret, nowMs) {
      // Looked up by digest: what a stranger can learn from the time taken is about the digest, not about the secret.
      const s = isSecret(secret) ? sessions.get(digestOf(secret)) : undefined
      return s && alive(s, nowMs) ? s : null
    },
    lives: (digest, nowMs) => alive(sessions.get(digest), nowMs),
    end(digest) {
      if (sessions.delete(digest)) keep()
    },
    count: (nowMs) => [...sessions.values()].filter((s) => alive(s, nowMs)).length,
  }
}

/** A file that cannot be read signs everybody out and is put aside, so that it can be looked at. */
function readSessions(file: string, log: (line: string) => void): readonly Session[] {
  const text = readPrivate(file)
  if (text === null) return []
  try {
    return z.array(sessionSchema).parse(JSON.parse(text))
  } catch {
    renameSync(file, `${file}.unreadable`)
    log(`sessions: ${file} cannot be read: put aside as ${file}.unreadable; everybody has to sign in again`)
    return []
  }
}
