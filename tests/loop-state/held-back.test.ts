/** Suppression by design through the composed gateway: what people are told, and what the journal says, over a restart in the middle. */
import { afterEach, expect, test } from 'vitest'
import type { GatewayEvent } from '../../gateway/port.ts'
import { MIN, openStage, SITE, type Stage } from './stage.ts'

const open: Stage[] = []
afterEach(async () => {
  for (const s of open.splice(0)) await s.close()
})

/** A stage with everything its listeners were called for: `raised blower.no-air`, restarts included. */
async function listened(): Promise<{ readonly s: Stage; readonly calls: string[]; restart(): Promise<void> }> {
  const s = await openStage()
  open.push(s)
  const calls: string[] = []
  const hear = (e: GatewayEvent): void => {
    if (e.kind === 'alarm' && (e.event.kind === 'raised' || e.event.kind === 're-alarmed')) calls.push(`${e.event.kind} ${e.view.def.id.slice(SITE.length + 1)}`)
  }
  s.core().port.subscribe(hear)
  return {
    s,
    calls,
    async restart() {
      await s.restart(1)
      s.core().port.subscribe(hear)
    },
  }
}
const OFF = { 'blower.run': 0, 'blower.pressure': 2 }

test('somebody on site: gas calls everybody, the blower nobody, over a restart; after the visit the air check and then the blower call once', async () => {
  const { s, calls, restart } = await listened()
  await s.minutes(70)
  expect(await s.core().port.stateDesk.checkIn(SITE, { untilMs: s.clock.nowMs() + 180 * MIN, why: 'probe' }, 'Ines')).toMatchObject({ ok: true })
  Object.assign(s.plant, OFF, { 'sump.h2s': 30 })
  await s.minutes(20)
  await restart()
  await s.minutes(20)
  expect(calls.filter((c) => !c.includes('h2s'))).toEqual([])
  expect(calls.filter((c) => c === 'raised sump.h2s.high')).toHaveLength(1)
  expect(s.alarm('blower.no-air')).toMatchObject({ shown: 'suppressed', state: 'unacknowledged', suppressed: { ruleId: 'loop-state/on-site' } })
  expect(await s.core().port.stateDesk.checkOut(SITE, { person: null, note: null }, 'Ines')).toMatchObject({ ok: true })
  await s.minutes(60)
  expect(calls.filter((c) => c === 'raised blower.no-air')).toHaveLength(1)
  expect(calls.filter((c) => c === 'raised site.visit-check-air')).toHaveLength(1)
})

test('mains off: one alarm says so and what follows from it calls nobody, over a restart; mains back without air: the check speaks after 10 min, then the blower, once each', async () => {
  const { s, calls, restart } = await listened()
  await s.minutes(70)
  Object.assign(s.plant, OFF, { 'mains.present': 0 })
  await s.minutes(20)
  expect(s.alarm('blower.no-air')).toMatchObject({ shown: 'suppressed', suppressed: { ruleId: 'power/lost' } })
  await restart()
  await s.minutes(10)
  expect(calls).toEqual(['raised mains.present.absent'])
  s.plant['mains.present'] = 1
  await s.minutes(5)
  await restart()
  await s.minutes(3)
  expect(s.alarm('blower.no-air')).toMatchObject({ shown: 'suppressed' })
  expect(calls).toEqual(['raised mains.present.absent'])
  await s.minutes(5)
  expect(calls).toEqual(['raised mains.present.absent', 'raised site.power-check-air'])
  await s.minutes(30)
  expect(calls).toEqual(['raised mains.present.absent', 'raised site.power-check-air', 'raised blower.no-air'])
})

test('which machine is not back stays on the alarm after somebody has answered with words of their own, over a restart', async () => {
  const { s, restart } = await listened()
  await s.minutes(70)
  Object.assign(s.plant, OFF, { 'mains.present': 0 })
  await s.minutes(6)
  s.plant['mains.present'] = 1
  await s.minutes(12)
  const a = s.alarm('site.power-check-air')
  expect(a).toMatchObject({ state: 'unacknowledged', raisedNote: a.note })
  expect(a.raisedNote).toMatch(/^Blower: /)
  expect(await s.core().port.acknowledge(a.def.id, a.occurrence ?? '', 'Ines', 'on my way')).toMatchObject({ ok: true, view: { note: 'on my way', raisedNote: a.raisedNote } })
  await restart()
  expect(s.alarm('site.power-check-air')).toMatchObject({ state: 'acknowledged', note: 'on my way', raisedNote: a.raisedNote })
})
