/**
 * Without mains power everything electric stands still: one alarm says so, and the dozen that only follow from it are held back. Held back
 * are alarms that a machine does not run or draws, moves or pushes nothing; never the alarm of the mains itself, never what happens to the
 * water, never safety and environment. Mains that cannot be told for sure hold nothing back.
 */
import type { Quantity } from '../site/quantity.ts'
import type { Site } from '../site/site.ts'
import type { AlarmDef, Rule } from './alarm.ts'
import type { Suppression } from './loop-effect.ts'

/** Of a machine without power these fall to nothing by themselves. */
const OF_A_MACHINE: ReadonlySet<Quantity> = new Set<Quantity>(['run', 'current', 'pressure', 'flow', 'voltage', 'auto', 'trip'])

/** What is known of the mains: null where no signal tells, or its newest value is doubtful. */
export type Mains = 'present' | 'absent' | null

/** Does this alarm only say again that there is no power? */
export function followsFromPower(def: Pick<AlarmDef, 'class' | 'rule'>, site: Pick<Site, 'signals' | 'equipment'>): boolean {
  if (def.class === 'safety' || def.class === 'environment') return false
  if (def.rule.kind === 'no-air') return true
  const id = signalOf(def.rule)
  const s = id === null ? undefined : site.signals.find((x) => x.id === id)
  if (!s || !OF_A_MACHINE.has(s.quantity) || !site.equipment.some((e) => e.id === s.at)) return false
  // Too much of something is no want of power.
  return !(def.rule.kind === 'limit' && def.rule.side === 'high')
}

const signalOf = (rule: Rule): string | null => ('signal' in rule && typeof rule.signal === 'string' ? rule.signal : null)

/** backMs: when the mains came back; null: they did not. A power cut goes on holding back for the time machines have to run again. */
export function powerSuppression(
  def: Pick<AlarmDef, 'class' | 'rule'>,
  site: Pick<Site, 'signals' | 'equipment'>,
  mains: Mains,
  backMs: number | null,
  nowMs: number,
  runAgainMs: number,
): Suppression | null {
  const back = mains === 'present' && backMs !== null && nowMs < backMs + runAgainMs
  if ((mains !== 'absent' && !back) || !followsFromPower(def, site)) return null
  return back
    ? { ruleId: 'power/back', reason: 'Mains came back less than 10 min ago: the post-power check looks whether everything runs again.' }
    : { ruleId: 'power/lost', reason: 'There is no mains power: this follows from it.' }
}
