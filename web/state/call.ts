/** "Must I get up?" in words: the verdict, and the arithmetic it follows from, line by line. Times are the site's. */
import type { AlarmBody, CallBody } from '../../server/wire.ts'
import { age, date, moment, timeLeft } from '../words/times.ts'

type Call = NonNullable<CallBody['call']>

const span = (min: number): string => age(min * 60_000)

/** Time until harm is possible, low end, as it leads the page; null: this alarm is not weighed by it. */
export function harmLeads(c: Call, zone: string, nowMs: number): readonly [figure: string, words: string] | null {
  if (c.because === 'exempt' || c.because === 'alert') return null
  return c.harmLowMs > nowMs ? [timeLeft((c.harmLowMs - nowMs) / 60_000), 'until harm is possible'] : ['now', `harm is possible since ${moment(c.harmLowMs, zone, nowMs)}`]
}

/** Whether something in the yard should have acted before any person could. */
export function protectionWords(p: CallBody['protection']): string {
  if (!p) return 'none is expected to act for this'
  if (p.fitted === 'no') return `${p.what}: not fitted, so nothing has acted`
  if (p.fitted === 'unknown') return `${p.what}: the site file does not say whether it is there, so count on nothing`
  return `${p.what} should have acted already, ${p.provedOn === null ? 'but was never proved: do not count on it' : `proved ${date(p.provedOn)}`}`
}

/** What to do about getting up, in one line. */
export function verdictOf(c: Call, zone: string, nowMs: number): string {
  const at = (ms: number): string => moment(ms, zone, nowMs)
  switch (c.verdict) {
    case 'wake':
      if (c.because === 'exempt') return 'Now, whatever the hour: this alarm is never put off.'
      if (c.because === 'desk-staffed')
        return nowMs > c.leaveByMs ? 'Now: it may be too late to prevent harm, acting limits the damage.' : `Now, in working hours. Whoever goes must leave by ${at(c.leaveByMs)}.`
      if (c.because === 'too-late') return 'Yes. It cannot be prevented from afar any more, and nobody is known to be there: going limits the damage.'
      return c.reachBy === 'yard' ? `Yes: the yard must be called by ${at(c.leaveByMs)}.` : `Yes: leave by ${at(c.leaveByMs)} to be in time.`
    case 'call-yard':
      return 'Call the yard now. It cannot be prevented from afar; what they do in the next minutes limits the damage.'
    case 'on-site':
      return 'No: somebody is on site and has it.'
    case 'morning':
      return c.because === 'blind-yet'
        ? `Not yet: only our sight is lost. First thing at ${at(c.deskMs)}; it rings if harm could have come unseen by then.`
        : `No, it can wait for ${at(c.deskMs)}. Somebody must have left by ${at(c.leaveByMs)}.`
    case 'day':
      return c.because === 'loop-state' ? 'No: the state of this loop lets nobody be woken.' : 'No: a matter for the day.'
    case 'none':
      return 'No: nobody is asked to do anything.'
  }
}

/** The figures behind the verdict. */
export function arithmetic(c: Call, zone: string, nowMs: number): readonly string[] {
  const at = (ms: number): string => moment(ms, zone, nowMs)
  if (c.because === 'exempt' || c.because === 'alert') return ['Gas and a release in progress are never weighed against the hour.'].filter(() => c.because === 'exempt')
  const harm = c.harmLowMs <= nowMs ? `Harm may have begun at ${at(c.harmLowMs)}` : `Harm is possible from ${at(c.harmLowMs)}, ${age(c.harmLowMs - nowMs)} from now`
  const assumed = c.assumed.length === 0 ? '' : ` Usual figures stand for what the site file does not say: ${c.assumed.map((a) => ASSUMED[a] ?? a).join(', ')}.`
  return [
    `${harm}${c.harmHighMs === null ? '' : `, likely by ${at(c.harmHighMs)}`}: ${c.harmFrom}.`,
    c.reachBy === 'yard'
      ? `The yard is staffed and can have acted in ${span(c.reachMin)}.`
      : `Somebody from outside is there in ${span(c.reachMin)}${c.staffedNow === false ? '; nobody is at the yard now' : ''}.`,
    c.deskMs <= nowMs
      ? 'The desk is staffed now.'
      : `The desk is staffed again at ${at(c.deskMs)}.${c.verdict === 'morning' && c.because === 'can-wait' ? ` Then ${span(c.reachMin)} to get there: before harm.` : ''}`,
    `Judged at ${at(c.judgedMs)}, again every 10 min.${assumed}`,
  ]
}

const ASSUMED: Readonly<Record<string, string>> = { drive: 'an hour by road', yard: 'ten minutes for the yard', desk: 'a desk staffed Monday to Friday, 7 to 17' }

/** The entry block, as it stands on a page and in a notice; null: none. */
export const blockSentence = (b: CallBody['entryBlock'], a: Pick<AlarmBody, 'zone'>, nowMs: number): string | null =>
  b &&
  `Nobody goes in. ${b.what} since ${moment(b.sinceMs, a.zone, nowMs)}. It ends when somebody has ventilated from outside, measured with a second meter and written that into the site log.`
