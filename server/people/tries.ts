/**
 * How many sign-ins of one address have failed lately. A link cannot be guessed (256 bits), so this does not protect the link;
 * it keeps a script gone wild from filling the log and the disk.
 */
export interface Tries {
  /** Ms until this address may try again; 0: now. */
  waitMs(address: string, steadyMs: number): number
  failed(address: string, steadyMs: number): void
  succeeded(address: string): void
}

const MOST_ADDRESSES = 1000

export function createTries(limit: number, spanMs: number): Tries {
  const failures = new Map<string, number[]>()
  const recent = (address: string, steadyMs: number): number[] => (failures.get(address) ?? []).filter((at) => steadyMs - at < spanMs)
  return {
    waitMs(address, steadyMs) {
      const at = recent(address, steadyMs)
      return at.length < limit ? 0 : Math.max(0, (at[at.length - limit] ?? steadyMs) + spanMs - steadyMs)
    },
    failed(address, steadyMs) {
      const at = [...recent(address, steadyMs), steadyMs].slice(-limit)
      failures.delete(address)
      failures.set(address, at)
      // Full: the address that has been quiet longest is forgotten.
      const oldest = failures.keys().next().value
      if (failures.size > MOST_ADDRESSES && oldest !== undefined) failures.delete(oldest)
    },
    succeeded: (address) => void failures.delete(address),
  }
}
