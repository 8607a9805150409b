/**
 * Being blind: the instrument an alarm depends on gives nothing usable for longer than that alarm's time to respond. One per
 * instrument, at the priority of the worst alarm it blinds, so that a dead probe speaks once and not once per limit.
 * A loop that is silent as a whole is `site.silent`, not this.
 */
import { PRIORITIES, type Priority } from './alarm.ts'
import { capital, MIN, PRACTICE, spell, type Draft } from './draft.ts'
import { signalOfRule } from './rule-signals.ts'
import type { Site } from '../site/site.ts'

export const BLIND = '.blind'
/** What has longer than this is work for the due list, and so is a dead instrument that serves nothing more urgent. */
const MOST_MIN = 480
/** Shorter gaps close by themselves. Common practice, no source. */
const LEAST_MS = 15 * MIN

type Watched = Draft & { readonly priority: Priority }

export function blindAlarms(site: Site, watched: readonly Watched[]): readonly (Draft & { readonly priority: Priority })[] {
  return site.signals.flatMap((signal) => {
    const mine = watched.filter((d) => d.priority !== 'alert' && signalOfRule(d.rule) === signal.id)
    const [worst] = mine.sort((a, b) => PRIORITIES.indexOf(a.priority) - PRIORITIES.indexOf(b.priority) || a.respondWithinMin - b.respondWithinMin)
    if (!worst || (worst.priority === 'low' && worst.respondWithinMin > MOST_MIN)) return []
    const afterMs = Math.max(worst.respondWithinMin * MIN, LEAST_MS, 3 * signal.reportEveryMs)
    return [
      {
        key: `${signal.id}${BLIND}`,
        stage: signal.stage,
        rule: { kind: 'blind', signal: signal.id, afterMs },
        what: `Blind: no reading of ${signal.name.startsWith('pH') ? signal.name : signal.name.slice(0, 1).toLowerCase() + signal.name.slice(1)}`,
        cause: 'Wire fault, broken or unplugged sensor, a value outside what it can report; or the controller no longer sends it.',
        consequence: `"${worst.what}" would not be noticed.`,
        action: [
          'Yard, by phone: is somebody working at the plant, was a sensor taken out?',
          'At the sensor: cable, plug, supply; is it in the water? Then at the controller: input lamp and fuse.',
          'Until it is back: somebody looks at the plant at least twice a day.',
        ],
        confirm: 'Usable values arrive again.',
        respondWithinMin: worst.respondWithinMin,
        cautions: worst.cautions,
        basis: `Nothing usable for ${spell(afterMs)} while the loop reports: the time to respond of the alarm it blinds, at least 15 min. ${capital(PRACTICE)}.`,
        class: 'equipment',
        severity: worst.severity,
        latching: false,
        priority: worst.priority,
      } as const,
    ]
  })
}
