/**
 * Keeps the alarms of every loop held back as its state and its power say, and tells the keeper only what changes. A loop is looked at anew when
 * something that decides has changed, and once a minute in any case, because definitions come and go.
 */
import type { AlarmView } from './alarms/alarm.ts'
import { powerSuppression, type Mains } from './alarms/consequences.ts'
import { effectOf, learnedSilent, type Suppression } from './alarms/loop-effect.ts'
import type { LoopNow } from './alarms/loop-state.ts'
import { AFTER_POWER_MIN } from './alarms/visit-check.ts'
import type { Site } from './site/site.ts'

export type Suppress = (alarm: string, by: Suppression | null, atMs: number) => void

export interface LoopSuppression {
  look(site: Site, now: LoopNow, power: { readonly mains: Mains; readonly backMs: number | null }, nowMs: number): void
}

const AT_LEAST_EVERY_MS = 60_000
const RUN_AGAIN_MS = AFTER_POWER_MIN * 60_000

export function startSuppression(parts: { readonly alarmsOf: (site: string) => readonly Pick<AlarmView, 'def'>[]; readonly suppress: Suppress }): LoopSuppression {
  const told = new Map<string, string>()
  const looked = new Map<string, { readonly sign: string; readonly atMs: number }>()
  return {
    look(site, now, power, nowMs) {
      const back = power.mains === 'present' && power.backMs !== null && nowMs < power.backMs + RUN_AGAIN_MS
      const sign = `${power.mains === 'absent'} ${back} ${learnedSilent(now, nowMs)} ${now.life.state} ${now.life.why} ${now.work?.fromMs} ${now.work?.why} ${now.leaving?.untilMs} ${now.visits.map((v) => `${v.person} ${v.overdue}`).join(' ')}`
      const was = looked.get(site.id)
      if (was && was.sign === sign && nowMs - was.atMs < AT_LEAST_EVERY_MS && nowMs >= was.atMs) return
      looked.set(site.id, { sign, atMs: nowMs })
      for (const { def } of parts.alarmsOf(site.id)) {
        const by = effectOf(def, now, nowMs).suppress ?? powerSuppression(def, site, power.mains, power.backMs, nowMs, RUN_AGAIN_MS)
        const text = by === null ? '' : `${by.ruleId} ${by.reason}`
        // The first word after a start is told in any case: what the journal remembers may be over.
        if (told.get(def.id) === text) continue
        told.set(def.id, text)
        parts.suppress(def.id, by, nowMs)
      }
    },
  }
}
