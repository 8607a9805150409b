/** The keeper's way to hold an alarm back by design, where it has one; a keeper without it calls as usual, which is the safe side. */
import type { Suppress } from './loop-suppression.ts'

export function suppressorOf(keeper: object): Suppress {
  const able = keeper as { readonly suppress?: Suppress }
  return (alarm, by, atMs) => able.suppress?.(alarm, by, atMs)
}
