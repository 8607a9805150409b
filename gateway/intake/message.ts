/** One MQTT message as intake sees it, whichever broker it came through. */
export interface Message {
  readonly topic: string
  readonly payload: Uint8Array
  /** Our clock when it arrived, ms since 1970 UTC. */
  readonly receivedMs: number
  /** A retained value handed over on subscribing: last known, never live, never an alarm. */
  readonly retained: boolean
  /** Own broker: the site whose credential the sender used. Elsewhere null: the broker's own access rules apply. */
  readonly site: string | null
  /** Name of the broker, for counters and the health page. */
  readonly broker: string
  /** Bytes it had before its broker cut it, because no message may be so large; absent: it is whole. */
  readonly cutFrom?: number
}

/** Bytes of the message as it was sent. */
export const sizeOf = (m: Pick<Message, 'payload' | 'cutFrom'>): number => m.cutFrom ?? m.payload.length
