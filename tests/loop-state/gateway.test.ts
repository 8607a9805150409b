import { afterEach, expect, test } from 'vitest'
import { GRACE_MS } from '../../gateway/alarms/loop-state.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import { MIN, openStage, SITE, START, type Stage } from './stage.ts'

const open: Stage[] = []
afterEach(async () => {
  for (const s of open.splice(0)) await s.close()
})
const stage = async (more?: Parameters<typeof openStage>[0]): Promise<Stage> => {
  const s = await openStage(more)
  open.push(s)
  return s
}
const checkIn = async (s: Stage, hours = 3, by = 'Ines') => {
  const r = await s.core().port.stateDesk.checkIn(SITE, { untilMs: s.clock.nowMs() + hours * 60 * MIN, why: 'probe' }, by)
  if (!r.ok) throw new Error(r.message)
  return r.view
}
const checkOut = async (s: Stage, by = 'Ines') => {
  const r = await s.core().port.stateDesk.checkOut(SITE, { person: null, note: null }, by)
  if (!r.ok) throw new Error(r.message)
  await s.settle()
  return r.view
}
const log = async (s: Stage): Promise<readonly string[]> =>
  (await s.core().port.log.list({ site: SITE, fromMs: 0, toMs: 2 ** 45, limit: 50 })).map((e: LogEntry) => `${e.kind} ${e.by}`).toReversed()

test('a blower left off on a visit is shown at check-out, is an alarm 15 min later that names it, and clears when it runs', async () => {
  const s = await stage()
  await s.minutes(70)
  await checkIn(s)
  expect(s.core().port.loopState(SITE)?.now).toMatchObject({ is: 'on-site', by: 'Ines' })
  Object.assign(s.plant, { 'blower.run': 0, 'blower.pressure': 2 })
  await s.minutes(20)
  await checkOut(s)
  expect(s.lines()).toMatchObject({ blower: 'not-yet', 'acid.auto': 'runs' })
  await s.minutes(14)
  expect(s.alarm('site.visit-check-air').state).toBe('normal')
  const leftMs = START + 90 * MIN
  await s.minutes(1)
  expect(s.lines()).toMatchObject({ blower: 'not-seen', link: 'runs' })
  expect(s.alarm('site.visit-check-air')).toMatchObject({ state: 'unacknowledged', value: 1, raisedMs: leftMs + 15 * MIN, def: { priority: 'high' } })
  expect(s.alarm('site.visit-check-air').note).toMatch(/^Blower: ran all through the hour before; not seen running since/)
  expect(s.alarm('site.visit-check').state).toBe('normal')

  // Somebody drives back: the check of the first visit is not forgotten by the second.
  await checkIn(s)
  await s.minutes(5)
  await checkOut(s)
  expect(s.lines()).toMatchObject({ blower: 'not-yet' })
  Object.assign(s.plant, { 'blower.run': 1, 'blower.pressure': 205 })
  await s.minutes(1)
  expect(s.lines()).toMatchObject({ blower: 'runs' })
  // Back to normal: unanswered, or past, because somebody was there to see it.
  expect(['returned', 'normal']).toContain(s.alarm('site.visit-check-air').state)
  expect(await log(s)).toEqual(['visit-in Ines', 'visit-out Ines', 'visit-in Ines', 'visit-out Ines'])
})

test('a visit that leaves everything running raises nothing, and says of each machine what is known', async () => {
  const s = await stage()
  s.plant['transfer.run'] = 0
  await s.minutes(70)
  await checkIn(s)
  Object.assign(s.plant, { 'blower.pressure': 0, 'blower.run': 0, 'acid.auto': 0 })
  await s.minutes(30)
  Object.assign(s.plant, { 'blower.pressure': 208, 'blower.run': 1, 'acid.auto': 1 })
  await s.minutes(2)
  await checkOut(s)
  await s.minutes(16)
  expect(s.lines()).toEqual({ blower: 'runs', 'acid.auto': 'runs', link: 'runs' })
  const check = s.core().port.loopState(SITE)?.checks[0]
  expect(check).toMatchObject({ over: true, atRest: ['Transfer pump', 'Acid pump', 'Washer'] })
  expect(
    s
      .core()
      .port.standing(SITE)
      .map((a) => a.def.id),
  ).not.toContain(`${SITE}/site.visit-check`)
})

test('a selector left in hand is an alarm of its own, and not one of the air', async () => {
  const s = await stage()
  await s.minutes(70)
  await checkIn(s)
  s.plant['acid.auto'] = 0
  await s.minutes(10)
  await checkOut(s)
  await s.minutes(15)
  expect(s.alarm('site.visit-check')).toMatchObject({ state: 'unacknowledged', def: { priority: 'medium' } })
  expect(s.alarm('site.visit-check').note).toMatch(/Selector of Acid pump: in hand or off/)
  expect(s.alarm('site.visit-check-air').state).toBe('normal')
})

test('a link that is not put back is found', async () => {
  const s = await stage()
  await s.minutes(70)
  await checkIn(s)
  await s.minutes(10)
  await checkOut(s)
  await s.minutes(16, true)
  expect(s.lines()).toMatchObject({ link: 'not-seen', blower: 'cannot-tell' })
  expect(s.alarm('site.visit-check').note).toMatch(/Link: nothing has arrived since/)
})

test('an overdue check-out is an alarm after 15 min of grace, with its cautions, and ends with the check-out', async () => {
  const s = await stage()
  await s.minutes(5)
  await checkIn(s, 1)
  await s.minutes(60 + GRACE_MS / MIN - 1)
  expect(s.alarm('site.overdue-visit').state).toBe('normal')
  await s.minutes(1)
  const view = s.alarm('site.overdue-visit')
  expect(view).toMatchObject({ state: 'unacknowledged', note: 'Ines', def: { priority: 'high', class: 'safety' } })
  expect(view.def.cautions).toContain('confined-space')
  expect(view.raisedMs).toBe(START + 5 * MIN + 60 * MIN + GRACE_MS)
  expect(s.core().port.loopState(SITE)?.now.overdue).toBe(true)
  await checkOut(s)
  await s.minutes(1)
  expect(s.alarm('site.overdue-visit').state).toBe('returned')
})

test('an entry in the site log checks in and out like the loop page, and an entry about yesterday does not', async () => {
  const s = await stage()
  await s.minutes(1)
  const add = (kind: 'visit-in' | 'visit-out', agoMin: number) => s.core().port.log.add({ site: SITE, kind, atMs: s.clock.nowMs() - agoMin * MIN, text: 'round' }, 'Bo')
  await add('visit-in', 13 * 60)
  expect(s.core().port.loopState(SITE)?.now.is).toBe('in-service')
  await add('visit-in', 10)
  expect(s.core().port.loopState(SITE)?.now).toMatchObject({ is: 'on-site', by: 'Bo', why: 'round', sinceMs: s.clock.nowMs() - 10 * MIN })
  await add('visit-out', 0)
  expect(s.core().port.loopState(SITE)?.now).toMatchObject({ is: 'in-service', leaving: { people: ['Bo'] } })
})

test('after a restart the visit goes on, the check of the last one is made again, and nothing is raised twice', async () => {
  const s = await stage()
  await s.minutes(70)
  await checkIn(s, 2)
  await s.restart(3)
  expect(s.core().port.loopState(SITE)?.now).toMatchObject({ is: 'on-site', by: 'Ines', why: 'probe' })
  Object.assign(s.plant, { 'blower.run': 0, 'blower.pressure': 2 })
  await s.minutes(10)
  await checkOut(s)
  await s.minutes(5)
  await s.restart(3)
  expect(s.lines()).toMatchObject({ blower: 'not-yet' })
  await s.minutes(8)
  expect(s.alarm('site.visit-check-air').state).toBe('unacknowledged')
  const { occurrence } = s.alarm('site.visit-check-air')
  await s.restart(1)
  await s.minutes(3)
  expect(s.alarm('site.visit-check-air')).toMatchObject({ state: 'unacknowledged', occurrence, count: 1 })
  // Days later it still waits for the blower, over another restart.
  await s.restart(3 * 60)
  await s.minutes(2)
  expect(s.alarm('site.visit-check-air').occurrence).toBe(occurrence)
  Object.assign(s.plant, { 'blower.run': 1, 'blower.pressure': 205 })
  await s.minutes(1)
  expect(s.alarm('site.visit-check-air').state).toBe('returned')
})

test('after a power cut from which the blower does not come back there is an alarm 10 min after the mains', async () => {
  const s = await stage()
  await s.minutes(70)
  Object.assign(s.plant, { 'mains.present': 0, 'blower.run': 0, 'blower.pressure': 0 })
  await s.minutes(6)
  s.plant['mains.present'] = 1
  await s.minutes(1)
  expect(s.lines('power')).toMatchObject({ blower: 'not-yet' })
  await s.minutes(9)
  expect(s.alarm('site.power-check-air').state).toBe('normal')
  await s.minutes(1)
  expect(s.alarm('site.power-check-air')).toMatchObject({ state: 'unacknowledged', def: { priority: 'high' } })
})

test('a power cut of 6 min from which everything comes back raises nothing', async () => {
  const s = await stage()
  await s.minutes(70)
  Object.assign(s.plant, { 'mains.present': 0, 'blower.run': 0, 'blower.pressure': 0 })
  await s.minutes(6)
  Object.assign(s.plant, { 'mains.present': 1, 'blower.run': 1, 'blower.pressure': 210 })
  await s.minutes(30)
  expect(s.lines('power')).toMatchObject({ blower: 'runs' })
  expect(
    s
      .core()
      .port.standing(SITE)
      .filter((a) => a.def.id.includes('check') || a.def.id.includes('no-air')),
  ).toEqual([])
  expect(await s.core().port.stateDesk.history(SITE, 10)).toMatchObject([{ act: 'power-back', fromMs: START + 71 * MIN, atMs: START + 77 * MIN }])
})

test('a blip too short for any mains signal shows in the uptime of the controller: a blower that does not restart is found', async () => {
  const s = await stage()
  await s.minutes(70)
  Object.assign(s.plant, { 'panel.uptime': -20, 'blower.run': 0, 'blower.pressure': 0 })
  await s.minutes(9)
  expect(s.lines('power')).toMatchObject({ blower: 'not-yet' })
  await s.minutes(3)
  expect(s.alarm('site.power-check-air').state).toBe('unacknowledged')
})

test('planned work needs an end and a reason, ends by itself, and the site file may say the first state', async () => {
  const s = await stage({ file: 'state: { is: commissioning, until: "2026-07-01", why: "new loop" }\n' })
  const desk = s.core().port.stateDesk
  expect(s.core().port.loopState(SITE)?.now).toMatchObject({ is: 'commissioning', why: 'new loop', untilMs: Date.UTC(2026, 6, 1, 23) })
  expect(await desk.set(SITE, { state: 'planned-work', untilMs: null, why: 'liner' }, 'Ines')).toMatchObject({ ok: false, code: 'not-wanted' })
  expect(await desk.set(SITE, { state: 'planned-work', untilMs: s.clock.nowMs() + 10 * MIN, why: 'liner' }, 'Ines')).toMatchObject({ ok: true })
  expect(s.core().port.loopState(SITE)?.now.is).toBe('planned-work')
  await s.minutes(10)
  expect(s.core().port.loopState(SITE)?.now.is).toBe('commissioning')
  expect(await desk.end(SITE, 'resting', 'Ines')).toMatchObject({ ok: false, code: 'not-allowed' })
  expect(await desk.checkOut(SITE, { person: null, note: null }, 'Ines')).toMatchObject({ ok: false, code: 'not-allowed' })
  expect(await desk.checkIn('nowhere', { untilMs: null, why: null }, 'Ines')).toMatchObject({ ok: false })
})

test('listeners hear of every change of the state, and nothing is learned while somebody is there', async () => {
  const s = await stage()
  const heard: string[] = []
  s.core().port.subscribe((e) => e.kind === 'state' && heard.push(e.site))
  await s.minutes(1)
  expect(heard).toEqual([])
  await checkIn(s)
  expect(heard).toContain(SITE)
  expect((await s.core().port.normals(SITE))?.paused).toBe('someone is on site')
  await checkOut(s)
  expect((await s.core().port.normals(SITE))?.paused).toBeNull()
  await s.core().port.stateDesk.set(SITE, { state: 'resting', untilMs: s.clock.nowMs() + 5 * MIN, why: 'winter' }, 'Ines')
  expect((await s.core().port.normals(SITE))?.paused).toMatch(/rests/)
  await s.minutes(10)
  expect((await s.core().port.normals(SITE))?.paused).toMatch(/came back from rest less than 14 days ago/)
})

test('while somebody is on site alarms of the loop stand nowhere but with those set aside, gas excepted; afterwards they are told', async () => {
  const s = await stage({ file: '' })
  await s.minutes(70)
  await checkIn(s)
  Object.assign(s.plant, { 'blower.run': 0, 'blower.pressure': 2, 'sump.h2s': 30 })
  await s.minutes(30)
  const keys = (of: readonly { readonly def: { readonly id: string } }[]): readonly string[] => of.map((v) => v.def.id.slice(SITE.length + 1)).filter((k) => /h2s|no-air/.test(k))
  expect(keys(s.core().port.standing(SITE))).toContain('sump.h2s.high')
  expect(keys(s.core().port.standing(SITE))).not.toContain('blower.no-air')
  expect(keys(s.core().port.setAside(SITE))).toContain('blower.no-air')
  await checkOut(s)
  await s.minutes(14)
  expect(keys(s.core().port.standing(SITE))).not.toContain('blower.no-air')
  await s.minutes(20)
  expect(keys(s.core().port.standing(SITE))).toContain('blower.no-air')
})

test('without mains one alarm says so and the standing blower is set aside behind it', async () => {
  const s = await stage()
  await s.minutes(70)
  Object.assign(s.plant, { 'mains.present': 0, 'blower.run': 0, 'blower.pressure': 0 })
  await s.minutes(25)
  const standing = s
    .core()
    .port.standing(SITE)
    .map((v) => v.def.id)
  expect(standing).toContain(`${SITE}/mains.present.absent`)
  expect(standing).not.toContain(`${SITE}/blower.no-air`)
  expect(
    s
      .core()
      .port.setAside(SITE)
      .map((v) => v.def.id),
  ).toContain(`${SITE}/blower.no-air`)
})

test('an alarm that is held back is still held back after a restart, and told when the visit is over', async () => {
  const s = await stage()
  await s.minutes(70)
  await checkIn(s)
  Object.assign(s.plant, { 'blower.run': 0, 'blower.pressure': 2 })
  await s.minutes(15)
  await s.restart(1)
  await s.minutes(15)
  expect(
    s
      .core()
      .port.standing(SITE)
      .map((v) => v.def.id),
  ).not.toContain(`${SITE}/blower.no-air`)
  await checkOut(s)
  await s.minutes(40)
  expect(s.alarm('blower.no-air').state).toBe('unacknowledged')
  expect(s.alarm('site.visit-check-air').state).toBe('unacknowledged')
})
