/** What the wake rule says of one alarm, with the arithmetic it rests on. */
import type { EntryBlock } from '../../gateway/alarms/entry-block.ts'
import type { WakeNote } from '../../gateway/alarms/wake.ts'
import type { AlarmRecord } from '../../gateway/alarms/record.ts'
import type { CallBody } from '../wire.ts'

export const callBodyOf = (alarm: string, note: WakeNote | null, block: EntryBlock | null, assumed: readonly string[], protection: AlarmRecord['protection']): CallBody => ({
  alarm,
  entryBlock: block && { ...block },
  protection: protection && { what: protection.what, fitted: protection.fitted, provedOn: protection.provedOn },
  call: note && {
    verdict: note.verdict,
    because: note.because,
    judgedMs: note.judgedMs,
    harmLowMs: Math.round(note.harm.lowMs),
    harmHighMs: note.harm.highMs === null ? null : Math.round(note.harm.highMs),
    harmFrom: note.harmFrom,
    reachMin: note.reachMin,
    reachBy: note.reachBy,
    deskMs: note.deskMs,
    leaveByMs: Math.round(note.leaveByMs),
    staffedNow: note.staffedNow,
    yardPhone: note.yardPhone,
    assumed: [...assumed],
  },
})
