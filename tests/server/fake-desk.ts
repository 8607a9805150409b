/** Loop states in memory: said, and shown as said. No checks run here. */
import { effectWords } from '../../gateway/alarms/loop-effect.ts'
import { applyRecord, firstStates, loopNow, refusedState, USUAL_VISIT_MS, type LoopStates, type StateRecord } from '../../gateway/alarms/loop-state.ts'
import type { Clock } from '../../gateway/clock.ts'
import type { LoopStateView, StateAnswer, StateDesk } from '../../gateway/port.ts'

export interface FakeDesk extends StateDesk {
  of(site: string): LoopStateView
}

export function fakeDesk(clock: Clock, changed: (site: string) => void): FakeDesk {
  const kept = new Map<string, LoopStates>()
  const records: StateRecord[] = []
  const statesOf = (site: string): LoopStates => kept.get(site) ?? firstStates(null)
  const view = (site: string): LoopStateView => {
    const now = loopNow(statesOf(site), clock.nowMs())
    return { now, words: effectWords(now, clock.nowMs()), checks: [] }
  }
  const say = (r: Pick<StateRecord, 'site' | 'act' | 'state' | 'untilMs' | 'why' | 'by'> & { person?: string | null }): StateAnswer => {
    const full: StateRecord = { person: null, fromMs: null, atMs: clock.nowMs(), recordedMs: clock.nowMs(), ...r }
    records.unshift(full)
    kept.set(r.site, applyRecord(statesOf(r.site), full))
    changed(r.site)
    return { ok: true, view: view(r.site) }
  }
  return {
    of: view,
    async checkIn(site, ask, by) {
      const untilMs = ask.untilMs ?? clock.nowMs() + USUAL_VISIT_MS
      const message = refusedState('on-site', clock.nowMs(), untilMs, ask.why)
      return message === null ? say({ site, act: 'begin', state: 'on-site', untilMs, why: ask.why, by, person: by }) : { ok: false, code: 'not-wanted', message }
    },
    async checkOut(site, ask, by) {
      const person = ask.person ?? by
      if (!statesOf(site).visits.some((v) => v.person === person)) return { ok: false, code: 'not-allowed', message: `${person} is not checked in at this loop.` }
      return say({ site, act: 'end', state: 'on-site', untilMs: null, why: null, by, person })
    },
    async set(site, ask, by) {
      const message = refusedState(ask.state, clock.nowMs(), ask.untilMs, ask.why)
      return message === null ? say({ site, act: 'begin', ...ask, by }) : { ok: false, code: 'not-wanted', message }
    },
    async end(site, state, by) {
      const { now } = view(site)
      if (now.life.state !== state && (state !== 'planned-work' || now.work === null)) return { ok: false, code: 'not-allowed', message: 'The loop is not in that state.' }
      return say({ site, act: 'end', state, untilMs: null, why: null, by })
    },
    history: async (site, limit) => records.filter((r) => r.site === site).slice(0, limit),
  }
}
