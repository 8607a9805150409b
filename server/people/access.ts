/**
 * Who may come in, and under which name. People sign in with a link that works once and get a session cookie; programs
 * bring a bearer token. There are no roles yet: whoever is in may do everything the product offers.
 */
import { join } from 'node:path'
import type { Clock } from '../../gateway/clock.ts'
import type { Counter } from '../../gateway/port.ts'
import { issueLink, linkLeftMs, spendLink } from './links.ts'
import { openSessions, SESSION_MS } from './sessions.ts'
import { tokenOf, type Token } from './tokens.ts'
import { createTries } from './tries.ts'
import { openYardDesk, type YardDesk } from '../yard/desk.ts'

export { readTokens, type Token } from './tokens.ts'

export interface Person {
  readonly name: string
  readonly via: 'session' | 'token'
  /** Tells one session or token from another; no secret. */
  readonly key: string
  /** When the session runs out; null: a token does not. */
  readonly untilMs: number | null
}

export type Admission = { readonly ok: true; readonly person: Person } | { readonly ok: false; readonly code: 'not-signed-in' | 'bad-token'; readonly message: string }

export type SignIn =
  | { readonly ok: true; readonly person: Person; readonly cookie: string }
  | { readonly ok: false; readonly code: 'link-not-valid' | 'too-many-tries'; readonly message: string; readonly retryAfterS: number }

export interface Access {
  /** Path of a fresh sign-in link, `/signin?once=<token>`: works once, for 15 minutes. */
  newLink(): string
  /** Who sends these headers. */
  admit(headers: { readonly cookie?: string | undefined; readonly authorization?: string | undefined }): Admission
  /** Ms for which a link can still be used; 0: not valid. Looking does not use it up. */
  linkLeftMs(once: string): number
  /** Uses the link up and opens a session for `name` (1 to 80 characters, checked by the caller). `cookie` is a whole Set-Cookie value. */
  signIn(once: string, name: string, address: string): SignIn
  /** Ends the session; gives the Set-Cookie value that clears it in the browser. */
  signOut(person: Person): string
  /** False once the session has ended or run out. */
  stillIn(person: Person): boolean
  /** Called with the person of a session that was ended. Gives the way to stop. */
  onSignOut(listener: (person: Person) => void): () => void
  /** Links of the yard pages. */
  readonly yard: YardDesk
  counters(): readonly Counter[]
}

export interface AccessParts {
  readonly dataDir: string
  readonly clock: Clock
  readonly tokens: readonly Token[]
  /** One line per sign-in, sign-out and refusal. */
  readonly log?: (line: string) => void
}

const COOKIE = 'loopkeeper-session'
const MOST_SPENT = 100
const NO_ONE = 'open the sign-in link printed when the server started, or send "Authorization: Bearer <token>" with a token of the token file'

export async function createAccess(parts: AccessParts): Promise<Access> {
  const { clock, dataDir, tokens } = parts
  const log = parts.log ?? ((line: string) => console.error(line))
  const sessions = openSessions(join(dataDir, 'sessions.json'), log)
  const tries = createTries(10, 15 * 60_000)
  const yard = openYardDesk(dataDir, clock, log)
  const listeners = new Set<(person: Person) => void>()
  // Another program that adds a link at this very moment could write a used one back into the file.
  const spent = new Set<string>()
  let signIns = 0
  let failed = 0
  let refused = 0

  return {
    newLink: () => issueLink(dataDir, clock.nowMs()),
    linkLeftMs: (once) => linkLeftMs(dataDir, once, clock.nowMs()),
    admit({ cookie, authorization }) {
      if (authorization !== undefined) {
        const token = tokenOf(tokens, /^Bearer +(\S+)$/i.exec(authorization)?.[1] ?? '')
        if (token) return { ok: true, person: { name: token.name, via: 'token', key: `token ${token.digest}`, untilMs: null } }
        refused++
        return {
          ok: false,
          code: 'bad-token',
          message: `the bearer token sent is not known here: ${tokens.length === 0 ? 'start the server with --api-token-file FILE' : 'use one of the token file'}`,
        }
      }
      const secret = cookieOf(cookie ?? '')
      const session = secret === null ? null : sessions.find(secret, clock.nowMs())
      if (session) return { ok: true, person: { name: session.name, via: 'session', key: session.digest, untilMs: session.untilMs } }
      refused++
      return { ok: false, code: 'not-signed-in', message: secret === null ? `not signed in: ${NO_ONE}` : `the session has ended: ${NO_ONE}` }
    },
    signIn(once, name, address) {
      const waitMs = tries.waitMs(address, clock.steadyMs())
      if (waitMs > 0) {
        failed++
        const retryAfterS = Math.ceil(waitMs / 1000)
        return { ok: false, code: 'too-many-tries', retryAfterS, message: `too many failed sign-ins from this address: try again in ${Math.ceil(retryAfterS / 60)} min` }
      }
      if (spent.has(once) || !spendLink(dataDir, once, clock.nowMs())) {
        failed++
        tries.failed(address, clock.steadyMs())
        log(`sign-in refused for ${address}: the link was used, too old, or not ours`)
        return { ok: false, code: 'link-not-valid', retryAfterS: 0, message: 'this link was used already or is older than 15 minutes: ask for a new one where the server runs' }
      }
      tries.succeeded(address)
      spent.add(once)
      if (spent.size > MOST_SPENT) spent.delete(spent.values().next().value ?? '')
      const { secret, session } = sessions.open(name, clock.nowMs())
      signIns++
      log(`signed in: ${JSON.stringify(name)} from ${address}`)
      return { ok: true, person: { name, via: 'session', key: session.digest, untilMs: session.untilMs }, cookie: cookieText(secret, SESSION_MS / 1000) }
    },
    signOut(person) {
      sessions.end(person.key)
      log(`signed out: ${JSON.stringify(person.name)}`)
      for (const listener of listeners) listener(person)
      return cookieText('', 0)
    },
    stillIn: (person) => person.via === 'token' || sessions.lives(person.key, clock.nowMs()),
    onSignOut(listener) {
      listeners.add(listener)
      return () => void listeners.delete(listener)
    },
    yard,
    counters: () => [
      { name: 'sessions', value: sessions.count(clock.nowMs()), what: 'Browsers signed in. When full the oldest session ends.', bound: 1000 },
      { name: 'signIns', value: signIns, what: 'Sign-ins since the start.' },
      { name: 'signInsFailed', value: failed, what: 'Sign-ins refused since the start: link used, too old, unknown, or too many tries.' },
      { name: 'requestsNotAdmitted', value: refused, what: 'Requests without a session or with an unknown token since the start.' },
      ...yard.counters(),
    ],
  }
}

// Strict: the cookie goes with requests of our own page only. No Secure, because the product itself speaks plain HTTP; a proxy
// with TLS in front should add it.
const cookieText = (secret: string, maxAgeS: number): string => `${COOKIE}=${secret}; Path=/; Max-Age=${maxAgeS}; HttpOnly; SameSite=Strict`

function cookieOf(header: string): string | null {
  for (const part of header.split(';')) {
    const eq = part.indexOf('=')
    if (eq > 0 && part.slice(0, eq).trim() === COOKIE) return part.slice(eq + 1).trim()
  }
  return null
}
