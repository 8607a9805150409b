/** Who may connect to the own broker: the right secret, in time, within the limits. Answers with the CONNACK codes of MQTT 3.1.1. */
import type { Clock } from '../clock.ts'
import { createAttempts } from './attempts.ts'
import type { Credentials } from './credentials.ts'

export interface DoorLimits {
  readonly connectionsPerSite: number
  /** Failed logins per minute of one address and user, and of one address. */
  readonly failuresPerUser: number
  readonly failuresPerAddress: number
}

export interface Knock {
  readonly address: string
  readonly user: string
  readonly secret: string
  readonly clientId: string
  /** Topic of its will, if it has one. */
  readonly will: string | undefined
}

export type Answer =
  | { readonly ok: true; readonly stamp: string }
  | { readonly ok: false; readonly code: 2 | 3 | 4 | 5; readonly why: 'id' | 'limit' | 'many' | 'login' | 'will' | 'busy' }

const IDENTIFIER_REJECTED = 2
const SERVER_UNAVAILABLE = 3
const BAD_USER_OR_PASSWORD = 4
const NOT_AUTHORIZED = 5
const MAX_CLIENT_ID = 64
const MAX_SECRET = 200

export interface Door {
  admit(knock: Knock): Promise<Answer>
}

export function createDoor(parts: {
  readonly clock: Clock
  readonly credentials: Pick<Credentials, 'verify' | 'stamp'>
  readonly limits: DoorLimits
  readonly isOwn: (topic: string, site: string) => boolean
  readonly connectionsOf: (site: string) => number
}): Door {
  const { clock, credentials, limits } = parts
  const perUser = createAttempts(limits.failuresPerUser, 60_000)
  const perAddress = createAttempts(limits.failuresPerAddress, 60_000)
  return {
    async admit({ address, user, secret, clientId, will }) {
      if (clientId.length > MAX_CLIENT_ID) return { ok: false, code: IDENTIFIER_REJECTED, why: 'id' }
      // By address and user: whoever guesses from elsewhere must not lock a site out. By address: many names do not help.
      const both = `${address} ${user.slice(0, 64)}`
      if (perUser.tooMany(both, clock.steadyMs()) || perAddress.tooMany(address, clock.steadyMs())) return { ok: false, code: NOT_AUTHORIZED, why: 'limit' }
      const verdict = user.length > 64 || secret.length > MAX_SECRET ? 'wrong' : await credentials.verify(user, secret)
      if (verdict === 'busy') return { ok: false, code: SERVER_UNAVAILABLE, why: 'busy' }
      const stamp = credentials.stamp(user)
      if (verdict === 'wrong' || stamp === null) {
        perUser.failed(both, clock.steadyMs())
        perAddress.failed(address, clock.steadyMs())
        return { ok: false, code: BAD_USER_OR_PASSWORD, why: 'login' }
      }
      if (will !== undefined && !parts.isOwn(will, user)) return { ok: false, code: NOT_AUTHORIZED, why: 'will' }
      if (parts.connectionsOf(user) >= limits.connectionsPerSite) return { ok: false, code: SERVER_UNAVAILABLE, why: 'many' }
      return { ok: true, stamp }
    },
  }
}
