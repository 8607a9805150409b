/** Alarms told from outside the readings: a check-out that is overdue, and what does not run again after a visit or a power cut. */
import type { Site } from '../site/site.ts'
import { placesOf, PRACTICE, spell, type Draft } from './draft.ts'
import { AFTER_VISIT_MS, GRACE_MS } from './loop-state.ts'
import { evidenceOf } from './run-evidence.ts'
import { AFTER_POWER_MIN } from './visit-check.ts'

export const OVERDUE = 'site.overdue-visit'
export const VISIT_AIR = 'site.visit-check-air'
export const VISIT = 'site.visit-check'
export const POWER_AIR = 'site.power-check-air'
export const POWER = 'site.power-check'

/** What says that the power was off: a mains signal, or a controller that tells how long it has been up. */
export const powerSignals = (site: Pick<Site, 'signals'>) => site.signals.filter((s) => (s.quantity === 'present' && s.at === null) || s.quantity === 'uptime')

export function visitAlarms(site: Site): readonly Draft[] {
  const air = site.equipment.some((e) => e.kind === 'aerator' && evidenceOf(site, e) !== null)
  const power = powerSignals(site).length > 0
  return [overdue(site), ...(air ? [notBackAir(site, 'visit')] : []), notBack('visit'), ...(power && air ? [notBackAir(site, 'power')] : []), ...(power ? [notBack('power')] : [])]
}

const TOLD = { kind: 'fact', onDelayMs: 0, offDelayMs: 0 } as const

function overdue(site: Site): Draft {
  return {
    key: OVERDUE,
    stage: null,
    rule: TOLD,
    what: 'Check-out overdue: somebody may need help',
    cause: 'Somebody said they are on site until a time that is past, and has not checked out. Mostly forgotten; it may be an accident beside a sump or a tank.',
    consequence: 'A person who is hurt or overcome alone is not missed by anybody else.',
    action: [
      'The one who checked in, by phone: are they well, and until when do they stay?',
      `No answer: call the yard${site.yardPhone === null ? '' : ` (${site.yardPhone})`} and have somebody look from outside; nobody goes into a sump or tank after them.`,
      'Nobody to be reached: drive there or call the emergency services.',
    ],
    confirm: 'The person has been spoken to; then check them out on the loop page, or put off the end of the visit.',
    respondWithinMin: 9,
    cautions: ['confined-space', 'h2s', 'ozone', 'electricity', 'lockout'],
    basis: `${spell(GRACE_MS)} after the announced end. ${PRACTICE}.`,
    class: 'safety',
    severity: 'severe',
    latching: false,
  }
}

type After = 'visit' | 'power'
const AFTER = {
  visit: { words: 'after the visit', key: VISIT, air: VISIT_AIR, within: spell(AFTER_VISIT_MS), from: 'the last check-out' },
  power: { words: 'after the power cut', key: POWER, air: POWER_AIR, within: `${AFTER_POWER_MIN} min`, from: 'the return of the mains, or the restart of the controller' },
} as const

function notBackAir(site: Site, after: After): Draft {
  const a = AFTER[after]
  const served = site.stages.filter((s) => site.equipment.some((e) => e.kind === 'aerator' && e.serves.includes(s.id)))
  const where = served.length > 0 ? placesOf(served) : 'the tanks'
  return {
    key: a.air,
    stage: served[0]?.id ?? null,
    rule: TOLD,
    what: `Air is not back ${a.words}`,
    cause:
      after === 'visit'
        ? 'The blower was left off, its selector in hand or off, a valve shut, or a hose off.'
        : 'The blower did not restart: overload tripped, no automatic restart, contactor or selector.',
    consequence: `No air in ${where}: the treatment unit is without oxygen in 6 to 80 min, the bio tanks in hours; then the water turns septic.`,
    action: [
      ...(after === 'visit' ? ['The one who was there, by phone: is the blower on, its selector in auto?'] : []),
      'Yard, by phone: is the blower heard? Ask them not to wash.',
      'At the panel: selector to auto; a tripped overload is reset once, by a qualified person, after lock-out and a look at the machine.',
    ],
    confirm: 'The check on the loop page shows the blower running again; bubbles all over the tank.',
    respondWithinMin: 8,
    cautions: ['lockout', 'electricity', 'h2s', 'confined-space'],
    basis: `Ran in the hour before and not again within ${a.within} of ${a.from}, longer where it ran with longer rests. Times to no oxygen: arithmetic on a reference loop. ${PRACTICE}.`,
    class: 'process',
    severity: 'severe',
    latching: false,
  }
}

function notBack(after: After): Draft {
  const a = AFTER[after]
  return {
    key: a.key,
    stage: null,
    rule: TOLD,
    what: `Not everything runs again ${a.words}`,
    cause:
      after === 'visit'
        ? 'A selector left in hand or off, a machine left locked out, a plug or breaker; or the link was not put back.'
        : 'A machine that does not restart by itself, a tripped breaker or overload, a controller that waits for a reset.',
    consequence: 'What depends on it fails in the hours to come: water, dosing, ozone, paper. The loop page names the machines.',
    action: [
      ...(after === 'visit' ? ['The one who was there, by phone: what was left in hand or off?'] : ['Yard, by phone: which lamps are lit on the panel?']),
      'Loop page, On site: which machines are not back.',
      'At the panel: lock-out removed by its owner, then selector to auto; watch the first run.',
    ],
    confirm: 'The check on the loop page shows everything running again.',
    respondWithinMin: 60,
    cautions: ['lockout', 'electricity', 'dosing'],
    basis: `Ran in the hour before and not again within ${a.within} of ${a.from}, or within twice its longest rest. ${PRACTICE}.`,
    class: 'equipment',
    severity: 'major',
    latching: false,
  }
}
