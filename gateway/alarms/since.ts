/** What somebody else did to an alarm since a person looked at it, as a sentence: the second of two is told what the first one did. */
import type { AlarmEvent, EventKind } from './alarm.ts'

interface Written {
  query(q: { readonly alarm: string; readonly fromMs: number; readonly toMs: number; readonly limit: number }): Promise<readonly AlarmEvent[]>
}

const WORDS: Readonly<Record<EventKind, string>> = {
  raised: 'raised',
  cleared: 'returned to normal',
  acknowledged: 'acknowledged',
  reset: 'reset',
  held: 'held, because its signal gives nothing usable',
  released: 'judged again, its signal being back',
  closed: 'closed',
  're-alarmed': 'announced again',
  'stepped-up': 'overtaken by a higher level',
  'raised-hidden': 'raised out of sight',
  'cleared-hidden': 'returned to normal out of sight',
  shelved: 'shelved',
  unshelved: 'taken off the shelf',
  suppressed: 'suppressed by design',
  unsuppressed: 'no longer suppressed',
  'out-of-service': 'taken out of service',
  'in-service': 'brought back into service',
  'review-overdue': 'overdue for review',
}

/** Every event raises the version by one, so the newest `now - seen` of the journal are what was missed. null: they cannot be read. */
export async function changesSince(journal: Written, alarm: string, seen: number, now: number, nowMs: number): Promise<string | null> {
  const missed = await journal.query({ alarm, fromMs: 0, toMs: Number.MAX_SAFE_INTEGER, limit: Math.min(now - seen, 50) }).catch(() => [])
  if (missed.length === 0) return null
  // What people did says most; what the plant did only when nobody did anything.
  const byPeople = missed.filter((e) => e.by !== null)
  const told = (byPeople.length > 0 ? byPeople : missed).slice(0, 3).toReversed()
  return `Not done, because it has changed since you looked: ${told.map((e) => one(e, nowMs)).join('; then ')}. Look at it as it is now, then decide.`
}

function one(e: AlarmEvent, nowMs: number): string {
  const min = Math.max(0, Math.round((nowMs - e.recordedMs) / 60_000))
  const ago = min === 0 ? 'just now' : min < 120 ? `${min} min ago` : `${Math.round(min / 60)} h ago`
  const said = e.note === null || e.note === '' ? '' : ` ("${e.note}")`
  return `${WORDS[e.kind]}${e.by === null ? '' : ` by ${e.by}`} ${ago}${said}`
}
