/** Every phrase that says a state. One place, so that list, loop, alarm and message use the same word for the same thing. */
export type Letter = 'A' | 'B' | 'C' | 'W'

export const LETTER = { high: 'A', medium: 'B', low: 'C', alert: 'W' } as const
export const SAY: Readonly<Record<Letter, string>> = { A: 'act now', B: 'within the hour', C: 'this shift', W: 'watch' }
export const Say: Readonly<Record<Letter, string>> = { A: 'Act now', B: 'Within the hour', C: 'This shift', W: 'Watch' }

export const STATE_WORDS = {
  normal: 'quiet',
  unacknowledged: 'unanswered',
  acknowledged: 'answered',
  returned: 'back to normal, unanswered',
  'latched-unacknowledged': 'latched, unanswered',
  'latched-acknowledged': 'latched, reset it',
} as const

/** Why a reading is not plainly good, in words a person on a yard understands. */
export const SUB_WORDS: Readonly<Record<string, string>> = {
  ok: '',
  local_override: 'by hand',
  maintenance_due: 'maintenance due',
  qc_suspect: 'doubtful: out of its usual course',
  last_usable: 'doubtful: last usable value',
  substitute: 'substitute value',
  initial: 'start value',
  not_accurate: 'doubtful: probe out of specification',
  eu_exceeded: 'doubtful: outside the expected range',
  subnormal: 'doubtful: too few sources',
  clock_suspect: 'clock of the sender is wrong',
  config_error: 'rejected: does not fit the site file',
  not_connected: 'no signal',
  device_failure: 'rejected: device failure',
  sensor_failure: 'rejected: outside the sensor’s range',
  comm_error: 'rejected: unreadable',
  no_comm: 'no signal',
  out_of_service: 'out of service',
  missing: 'no figure sent',
}

export const ENTRY_WORDS: Readonly<Record<string, string>> = {
  kit: 'Kit or lab value',
  calibration: 'Calibration',
  refill: 'Refill',
  replacement: 'Part or roll replaced',
  blowdown: 'Blowdown or haul-off',
  observation: 'Something seen or smelled',
  'unusual-wash': 'Unusual wash',
  'visit-in': 'Visit begins',
  'visit-out': 'Visit ends',
  'interlock-proved': 'Interlock proved',
  'gas-measured': 'Gas measured',
  complaint: 'Complaint',
  note: 'Note',
}
