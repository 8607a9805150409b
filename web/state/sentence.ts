/** Sentences that stand for a drawing, and the sentences of an alarm. */
import type { AlarmBody, LoopBody } from '../../server/wire.ts'
import { measured } from '../words/numbers.ts'
import { age, momentThere, ownZone } from '../words/times.ts'
import { stateShort } from '../words/loop-state.ts'
import { SAY, STATE_WORDS } from '../words/words.ts'
import { markOf, worst } from './mark.ts'
import { setAside } from './set-aside.ts'

/** "Kestrow Ferry Terminal, berth 3: act now, unanswered, bio tank 1, no air. Finished water 78 percent." */
export function ringSentence(loop: LoopBody, nowMs: number): string {
  const water = loop.waterPct === null ? '' : ` Finished water ${Math.round(loop.waterPct)} percent.`
  const a = worst(loop)
  const state = loop.state.is === 'in-service' ? '' : ` ${capital(stateShort(loop.state, loop.zone, nowMs))}.`
  const alarm = a ? [SAY[markOf(a).letter], stateWords(a), a.what].filter(Boolean).join(', ') : ''
  if (loop.silent)
    return `${[`${loop.name}: ${loop.heardMs === null ? 'nothing heard yet' : `silent for ${age(nowMs - loop.heardMs)}`}`, alarm && `before that ${alarm}`].filter(Boolean).join('; ')}.${state}`
  if (!a) return `${loop.name}: ${loop.doubtful.length > 0 ? 'doubtful data' : 'quiet'}.${water}${state}`
  return `${loop.name}: ${alarm}.${water}${state}`
}

const capital = (s: string): string => s.slice(0, 1).toUpperCase() + s.slice(1)

/** The first sentence of a text: as much as can be taken in at night. */
export const firstSentence = (text: string): string => /^.*?[.;](?=\s|$)/.exec(text)?.[0].replace(/;$/, '.') ?? text

/** Its state in words; an alert is not answered, and has none. */
export const stateWords = (a: AlarmBody): string => (a.priority === 'alert' ? '' : STATE_WORDS[a.state])

/** "84 %, limit 80, since 03:11". What is not known is left out. Times are the site's; `readerZone` decides whether that must be said. */
export function facts(a: AlarmBody, nowMs: number, readerZone = ownZone()): string {
  const parts: string[] = []
  const value = a.valueNow ?? a.value
  // A contact has no limit, and its 0 or 1 says nothing that the sentence has not said.
  if (a.limit !== null && value !== null) parts.push(measured(value, a.digits, a.unit), `limit ${measured(a.limit, a.digits, '')}`)
  if (a.raisedNote) parts.push(a.raisedNote.replace(/\.$/, ''))
  if (a.firstOut) parts.push('first here')
  if (a.raisedMs !== null) parts.push(`since ${momentThere(a.raisedMs, a.zone, nowMs, readerZone)}`)
  return parts.join(', ')
}

/** Who has it, or that nobody has. */
export function answer(a: AlarmBody, nowMs: number, readerZone = ownZone()): string {
  const at = (ms: number): string => momentThere(ms, a.zone, nowMs, readerZone)
  const held = a.heldSinceMs === null ? '' : ` Held, no good data since ${at(a.heldSinceMs)}.`
  const over = setAside(a, nowMs, readerZone)
  if (over) return `${over}.${held}`
  if (a.priority === 'alert') return `To watch.${held}`
  if (a.acknowledgedBy !== null && a.acknowledgedMs !== null) {
    const said = a.note ? `: “${a.note}”` : ''
    return `${a.acknowledgedBy} has it since ${at(a.acknowledgedMs)}${said}.${held}`
  }
  if (a.state === 'returned' && a.clearedMs !== null) return `Back to normal ${at(a.clearedMs)}, nobody has answered.${held}`
  return `Unanswered${a.raisedMs === null ? '' : ` for ${age(nowMs - a.raisedMs)}`}.${held}`
}
