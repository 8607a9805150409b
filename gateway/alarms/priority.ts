import type { AlarmDef, Priority } from './alarm.ts'

/**
 * Priority of an alarm from how bad it gets and how long there is (its matrix is ours, its shape common practice):
 *
 *              < 10 min   10-60 min   > 60 min
 *   severe     high       high        medium
 *   major      high       medium      low
 *   minor      medium     low         low
 */
export function priorityOf(severity: AlarmDef['severity'], respondWithinMin: number): Priority {
  const column = respondWithinMin < 10 ? 0 : respondWithinMin <= 60 ? 1 : 2
  return MATRIX[severity][column]
}

const MATRIX: Readonly<Record<AlarmDef['severity'], readonly [Priority, Priority, Priority]>> = {
  severe: ['high', 'high', 'medium'],
  major: ['high', 'medium', 'low'],
  minor: ['medium', 'low', 'low'],
}
