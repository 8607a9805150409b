/** Alarms of the way the readings come: told from outside the readings by what intake sees of a site (link-fact.ts). */
import { capital, HOUR, MIN, PRACTICE, spell, type Draft } from './draft.ts'
import { CLOCK_OFF_MS, REFUSED_SHARE } from './link-fact.ts'

export const CLOCK = 'site.clock'
export const QUARANTINE = 'site.quarantine'

export const linkAlarms = (): readonly Draft[] => [clock, quarantine]

const clock: Draft = {
  key: CLOCK,
  stage: null,
  rule: { kind: 'fact', onDelayMs: 10 * MIN, offDelayMs: 10 * MIN },
  what: 'The clock of the controller is wrong',
  cause: 'Never set, set to local time where another is declared, not put forward or back in spring or autumn, its battery flat, or no time server to be reached.',
  consequence: 'Readings look late or ahead: alarms may stay silent because nothing counts as live, and after a crash the order of events is wrong.',
  action: [
    'Intake page: how far off, and since when; several loops at once mean our own clock or the network.',
    'Controller, from afar or at the panel: set the time and its time server; change the battery of its clock.',
    'Cannot be set: say in the site file what it is (clock: zone, ahead or behind).',
  ],
  confirm: 'The difference on the intake page is below a minute.',
  respondWithinMin: 24 * 60,
  cautions: [],
  basis: `More than ${spell(CLOCK_OFF_MS)} off by the middle of its last 31 messages, for 10 min. ${capital(PRACTICE)}.`,
  class: 'system',
  severity: 'minor',
  latching: false,
  alert: true,
}

const quarantine: Draft = {
  key: QUARANTINE,
  stage: null,
  rule: { kind: 'fact', onDelayMs: 5 * MIN, offDelayMs: 15 * MIN },
  what: `More than ${REFUSED_SHARE * 100} % of what the loop sends is refused`,
  cause: 'A changed program or setting of the controller: other names, units, times or another form of message; a second sender with the credential of this one.',
  consequence: 'What is refused is not stored and no alarm sees it; the loop does not look silent meanwhile.',
  action: [
    'Intake page: the reasons, with their counts and what to do about each.',
    'Whoever changed the controller last, by phone: put it back, or bring the site file in line.',
    'At the panel: restart the controller once, if nobody has changed anything.',
  ],
  confirm: 'Nothing new is refused on the intake page for an hour.',
  respondWithinMin: (8 * HOUR) / MIN,
  cautions: ['electricity'],
  basis: `Within an hour (ten reports where those take longer), in four of its twelve parts at least, so that one burst is none. ${capital(PRACTICE)}.`,
  class: 'system',
  severity: 'minor',
  latching: false,
}
