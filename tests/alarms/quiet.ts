/** An alarm that has never been raised, as the keeper shows it. */
import type { AlarmDef, AlarmView } from '../../gateway/alarms/alarm.ts'
import { NO_OVERLAY } from '../../gateway/alarms/overlay.ts'

export const quiet = (def: AlarmDef): AlarmView => ({
  def,
  state: 'normal',
  shown: 'normal',
  ...NO_OVERLAY,
  occurrence: null,
  version: 1,
  raisedMs: null,
  clearedMs: null,
  value: null,
  limit: null,
  unit: '',
  acknowledgedBy: null,
  acknowledgedMs: null,
  note: null,
  heldSinceMs: null,
  count: 0,
  raisedNote: null,
  hiddenCount: 0,
  reAlarms: 0,
  firstOut: false,
})
