/** The connections of sites to the own broker, each bound to the site whose credential it used. */
import type { Socket } from 'node:net'
import type { Client } from 'aedes'
import type { Pace } from './pace.ts'

export interface Session {
  readonly site: string
  /** Which credential it used, see Credentials.stamp. */
  readonly stamp: string
  readonly filters: Set<string>
  readonly pace: Pace
  /** We are ending it ourselves: what comes of it from now on, its will included, says nothing about the plant. */
  silenced: boolean
}

export interface Sessions {
  open(client: Client, site: string, stamp: string, pace: Pace): void
  /** Also after its socket has gone, because a will is published then. */
  of(client: Client | null): Session | undefined
  connectionsOf(site: string): number
  /** Ends those chosen and says how many there were. */
  end(which: (s: Session) => boolean): number
  size(): number
}

export function createSessions(): Sessions {
  const known = new WeakMap<Client, Session>()
  const live = new Map<Client, Session>()
  return {
    open(client, site, stamp, pace) {
      // [MQTT-3.1.4-2] a new connection ends the old one of the same client id. With the site in front, the ids of two sites
      // can never be the same, so no site can end or take over the session of another.
      client.id = `${site}/${client.id}`
      const session: Session = { site, stamp, filters: new Set(), pace, silenced: false }
      known.set(client, session)
      live.set(client, session)
      const socket = client.conn as Socket
      socket.once('close', () => live.delete(client))
    },
    of: (client) => (client ? known.get(client) : undefined),
    connectionsOf(site) {
      let count = 0
      for (const s of live.values()) if (s.site === site) count++
      return count
    },
    end(which) {
      let count = 0
      for (const [client, session] of live) {
        if (!which(session)) continue
        session.silenced = true
        client.close()
        count++
      }
      return count
    },
    size: () => live.size,
  }
}
