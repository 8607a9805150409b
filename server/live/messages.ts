/** What browsers may say: so far only which loops they watch. */
import { watchMessage } from '../wire.ts'
import type { Member } from './member.ts'

/** Counts one more message of `m`; false when it has sent more than `perMin` within a minute. */
export function withinRate(m: Member, perMin: number, steadyMs: number): boolean {
  if (steadyMs - m.minute.fromMs >= 60_000) m.minute = { fromMs: steadyMs, count: 0 }
  return ++m.minute.count <= perMin
}

/** What a browser asks for, or why it is not understood. */
export function readWatch(text: string): { readonly values: readonly string[] } | string {
  let raw: unknown
  try {
    raw = JSON.parse(text)
  } catch {
    return 'a message that is no JSON'
  }
  const result = watchMessage.safeParse(raw)
  if (result.success) return result.data
  const issue = result.error.issues[0]
  return `message not understood: ${issue?.path.join('.') ?? ''} ${issue?.message ?? ''}`
}
