/** Alarms defined anew under a running keeper, and changes of the page laid over default and site file. */
import { afterEach, beforeEach, expect, test } from 'vitest'
import { createAlarmChanges, loadLayers, type AlarmChanges } from '../../gateway/alarm-changes.ts'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { startAlarmKeeper, type AlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { openChangeStore } from '../../gateway/change-store.ts'
import type { Site } from '../../gateway/site/site.ts'
import { fickle, makeDisk, settled, type Disk, type Fickle } from './disk.ts'
import { handClock, loop, loopWith, reading, SITE, type HandClock } from './yard.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

interface Bench {
  readonly keeper: AlarmKeeper
  readonly changes: AlarmChanges
  readonly journal: Fickle
  readonly clock: HandClock
  readonly told: string[]
  readonly events: AlarmEvent[]
  sites: ReadonlyMap<string, Site>
  /** A row every 30 s for so long. */
  rows(seconds: number, values: Readonly<Record<string, number>>): Promise<void>
  idle(): Promise<void>
  close(): Promise<void>
}

async function bench(site: Site = loop(), clock = handClock(Date.UTC(2026, 2, 4, 10))): Promise<Bench> {
  const { db, journal } = await disk.open()
  const f = fickle(journal)
  const store = openChangeStore(db)
  const events: AlarmEvent[] = []
  const told: string[] = []
  const b: { sites: ReadonlyMap<string, Site> } = { sites: new Map([[SITE, site]]) }
  let keeper: AlarmKeeper | null = null
  const changes = createAlarmChanges({
    store,
    clock,
    sites: () => b.sites,
    layers: await loadLayers(store),
    keeper: () => {
      if (!keeper) throw new Error('no keeper yet')
      return keeper
    },
    raisedUnder: (a, o) => journal.raisedUnder(a, o),
    alarmFault: (s, x) => ({ file: `${s}.yaml`, line: 1, field: x.key, message: x.message }),
    onDefined: (ids) => told.push(`defined ${[...ids].join()}`),
  })
  const made = await startAlarmKeeper({
    sites: b.sites,
    defs: changes.definitions(site).defs,
    journal: f,
    clock,
    emit: (event) => {
      events.push(event)
      told.push(`${event.kind} ${event.alarm.slice(SITE.length + 1)}`)
    },
  })
  keeper = made
  const idle = () => settled(() => made.counters().find((c) => c.name === 'journalWaiting')?.value === 0, 'an empty queue')
  return Object.assign(b, {
    keeper: made,
    changes,
    journal: f,
    clock,
    told,
    events,
    idle,
    async rows(seconds: number, values: Readonly<Record<string, number>>) {
      for (let s = 0; s < seconds; s += 30) {
        clock.advance(30_000)
        made.onReadings(Object.entries(values).map(([k, v]) => reading(k, v, clock.nowMs())))
        made.tick(clock.nowMs(), () => clock.nowMs())
      }
      await idle()
    },
    async close() {
      await made.stop()
      await db.destroy()
    },
  })
}

const PH = `${SITE}/tu.ph.high`
const save = { reason: 'this yard has hard water', approver: null }
const mark = (b: Bench, alarm: string): string => b.changes.changeable(alarm)?.mark ?? ''
const viewOf = (b: Bench, alarm: string) => b.keeper.alarmsOf(SITE).find((v) => v.def.id === alarm)

test('ALM-60 a change is written down with who, when, old and new value and reason, is in force at once, and after a restart', async () => {
  const b = await bench()
  const before = viewOf(b, PH)
  expect(before).toMatchObject({ limit: 9, def: { version: 1 } })
  const r = await b.changes.change(PH, { limit: 9.3 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  expect(r).toMatchObject({
    ok: true,
    change: {
      id: 1,
      alarm: PH,
      site: SITE,
      atMs: b.clock.nowMs(),
      by: 'A. Reyes',
      approver: null,
      reason: 'this yard has hard water',
      moved: [{ field: 'limit', was: 9, is: 9.3 }],
    },
  })
  expect(viewOf(b, PH)).toMatchObject({ limit: 9.3, def: { version: 2, basis: expect.stringContaining('changed in the page by A. Reyes, change 1: this yard has hard water') } })
  expect(b.told).toEqual([`defined ${SITE}`])
  await b.close()
  const again = await bench(loop(), b.clock)
  expect(viewOf(again, PH)).toMatchObject({ limit: 9.3, def: { version: 2 } })
})

test('taking a change back is a change of its own; the version goes up again and the default is in force', async () => {
  const b = await bench()
  await b.changes.change(PH, { limit: 9.3, onDelayMs: 1_800_000 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  const r = await b.changes.undo(1, 'J. Orme', { reason: 'the probe was at fault', approver: null })
  expect(r).toMatchObject({ ok: true, change: { id: 2, by: 'J. Orme', undoes: 1, after: {} } })
  expect(viewOf(b, PH)).toMatchObject({ limit: 9, def: { version: 3 } })
  expect(viewOf(b, PH)?.def.basis).not.toContain('changed in the page')
  expect((await b.changes.list({ fromMs: 0, toMs: 1e14, limit: 10 })).map((c) => c.id)).toEqual([2, 1])
  expect(await b.changes.undo(1, 'J. Orme', { reason: 'again', approver: null })).toMatchObject({ ok: false, code: 'not-changed' })
  expect(await b.changes.undo(99, 'J. Orme', { reason: 'x', approver: null })).toMatchObject({ ok: false, code: 'unknown-change' })
})

test('a change that somebody has since changed again is not taken back over their head', async () => {
  const b = await bench()
  await b.changes.change(PH, { limit: 9.3 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  await b.changes.change(PH, { limit: 9.4, priority: 'medium' }, 'J. Orme', { ...save, mark: mark(b, PH) })
  expect(await b.changes.undo(1, 'A. Reyes', { reason: 'r', approver: null })).toMatchObject({
    ok: false,
    message: 'limit 9.4 found: it has been changed again since (change 2 by J. Orme). Take that one back first.',
  })
  expect(await b.changes.undo(2, 'A. Reyes', { reason: 'r', approver: null })).toMatchObject({ ok: true, change: { after: { limit: 9.3 } } })
  expect(await b.changes.undo(1, 'A. Reyes', { reason: 'r', approver: null })).toMatchObject({ ok: true, change: { after: {} } })
})

test('two people who look at one alarm: the second to save is refused and told who was first', async () => {
  const b = await bench()
  const seen = mark(b, PH)
  const [first, second] = await Promise.all([
    b.changes.change(PH, { limit: 9.3 }, 'A. Reyes', { ...save, mark: seen }),
    b.changes.change(PH, { limit: 8.9 }, 'J. Orme', { ...save, mark: seen }),
  ])
  expect(first).toMatchObject({ ok: true })
  expect(second).toMatchObject({ ok: false, code: 'stale-version', message: expect.stringContaining('newest change: 1 by A. Reyes') })
  expect(viewOf(b, PH)?.limit).toBe(9.3)
})

test('an alarm of high priority is not changed without a second person, and nobody is their own', async () => {
  const b = await bench()
  const sump = b.keeper.alarmsOf(SITE).find((v) => v.def.priority === 'high')?.def.id ?? ''
  const fields = { onDelayMs: 120_000 }
  const change = (approver: string | null) => b.changes.change(sump, fields, 'A. Reyes', { ...save, approver, mark: mark(b, sump) })
  expect(await change(null)).toMatchObject({ ok: false, code: 'not-changed', message: expect.stringMatching(/^approver none found/) })
  expect(await change(' a.  REYES ')).toMatchObject({ ok: false, message: expect.stringContaining('that is you') })
  expect(await change('J. Orme')).toMatchObject({ ok: true, change: { approver: 'J. Orme' } })
  expect(await b.changes.change(PH, { priority: 'high' }, 'A. Reyes', { ...save, mark: mark(b, PH) }), 'what becomes high as well').toMatchObject({ ok: false })
})

test('refusals name the value: no reason, nothing changed, out of range, too short a delay', async () => {
  const b = await bench()
  const change = async (fields: object, reason = 'r') => {
    const r = await b.changes.change(PH, fields, 'A. Reyes', { reason, approver: null, mark: mark(b, PH) })
    return r.ok ? 'saved' : r.message
  }
  expect(await change({ limit: 9.3 }, '  ')).toMatch(/^reason "" found/)
  expect(await change({ limit: 9 })).toBe('nothing would change: limit is 9 already')
  expect(await change({})).toBe('nothing would change: no field is given')
  expect(await change({ limit: 40 })).toMatch(/limit 40 found: tu\.ph reports 0 to 14/)
  expect(await change({ onDelayMs: 5000 })).toMatch(/onDelay 5 s found/)
  expect(await b.changes.list({ fromMs: 0, toMs: 1e14, limit: 10 })).toEqual([])
})

test('a preview says what was, what will be, how late the alarm may come, and what to be careful about; nothing is saved', async () => {
  const b = await bench()
  const p = b.changes.preview(PH, { onDelayMs: 0, deadband: 0 })
  expect(p).toMatchObject({ ok: true, was: { limit: 9, onDelayMs: 3_600_000 }, is: { onDelayMs: 0, deadband: 0, detectionMs: 30_000 + 10_000 }, needsApprover: false })
  expect(p.ok && p.warnings.join()).toContain('it will chatter')
  expect(viewOf(b, PH)).toMatchObject({ def: { version: 1 } })
})

test('what is switched off ends its occurrence in writing with the reason, is still to be found, and comes back when that is taken back', async () => {
  const b = await bench(loopWith('  tu.ph.high: { onDelay: 0s, why: "fast" }\n'))
  await b.rows(30, { 'tu.ph': 9.6 })
  expect(b.told).toEqual(['raised tu.ph.high'])
  const off = await b.changes.change(PH, { off: true }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  expect(off).toMatchObject({ ok: true, change: { moved: [{ field: 'off', was: false, is: true }] } })
  await b.idle()
  expect(b.events.at(-1)).toMatchObject({ kind: 'closed', note: 'switched off in the page by A. Reyes, change 1: this yard has hard water' })
  expect(viewOf(b, PH)).toBeUndefined()
  expect(b.keeper.standing()).toEqual([])
  expect(b.changes.changeable(PH)).toMatchObject({ now: { off: true, limit: 9 }, page: { off: true } })
  await b.rows(60, { 'tu.ph': 9.6 })
  expect(b.told.filter((t) => !t.startsWith('defined'))).toEqual(['raised tu.ph.high', 'closed tu.ph.high'])
  await b.changes.undo(1, 'A. Reyes', { reason: 'it was real', approver: null })
  await b.rows(30, { 'tu.ph': 9.6 })
  expect(b.told.filter((t) => !t.startsWith('defined'))).toEqual(['raised tu.ph.high', 'closed tu.ph.high', 'raised tu.ph.high'])
  expect(viewOf(b, PH)).toMatchObject({ count: 2, state: 'unacknowledged' })
})

test('the page goes over the site file and the site file over the default, and a change on what the site file changes says so', async () => {
  const b = await bench(loopWith('  tu.ph.high: { limit: 9.2, why: "hard water" }\n'))
  expect(viewOf(b, PH)?.limit).toBe(9.2)
  const p = b.changes.preview(PH, { limit: 9.4 })
  expect(p.ok && p.warnings).toEqual(['the site file changes this alarm too (limit 9.2: hard water): what is changed here wins, also when that file changes again'])
  await b.changes.change(PH, { limit: 9.4 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  b.sites = new Map([[SITE, loopWith('  tu.ph.high: { limit: 9.1, deadband: 0.2, why: "harder" }\n')]])
  await b.changes.followSites(b.sites)
  expect(viewOf(b, PH)).toMatchObject({ limit: 9.4, def: { rule: { limit: 9.4, deadband: 0.2 }, version: 3, basis: expect.stringContaining('harder; changed in the page') } })
})

test('a change that the site no longer allows is left out and told, and the rest holds', async () => {
  const b = await bench()
  await b.changes.change(PH, { limit: 13 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  b.sites = new Map([[SITE, loop((t) => t.replace('tu.ph:\n', 'tu.ph: { range: [4, 10] }\n'))]])
  await b.changes.followSites(b.sites)
  expect(viewOf(b, PH)?.limit).toBe(9)
  expect(b.changes.troubles()).toEqual([expect.stringMatching(/^Change 1 of .*tu\.ph\.high is not in force: limit 13 found/)])
})

test('a site file that changes is followed while alarms are watched: delays of what is the same run on, and nothing is told twice', async () => {
  const b = await bench(loopWith('  tu.ph.high: { onDelay: 5min, why: "x" }\n'))
  await b.rows(240, { 'tu.ph': 9.6 })
  expect(b.told).toEqual([])
  b.sites = new Map([[SITE, loopWith('  tu.ph.high: { onDelay: 5min, why: "x" }\n  tu.do.low: { limit: 1.8, why: "y" }\n')]])
  await b.changes.followSites(b.sites)
  await b.rows(90, { 'tu.ph': 9.6 })
  expect(b.told).toEqual([`defined ${SITE}`, 'raised tu.ph.high'])
  expect(viewOf(b, `${SITE}/tu.do.low`)).toMatchObject({ limit: 1.8, def: { version: 2 } })
  await b.changes.followSites(b.sites)
  expect(b.told).toHaveLength(2)
})

test('while the journal cannot be written nothing is half changed: it is told, and made up for by itself', async () => {
  const b = await bench()
  const { register } = b.journal
  Object.assign(b.journal, { register: async () => Promise.reject(new Error('disk full')) })
  b.sites = new Map([[SITE, loopWith('  tu.ph.high: { limit: 9.2, why: "x" }\n')]])
  await b.changes.followSites(b.sites)
  expect(viewOf(b, PH)?.limit).toBe(9)
  expect(b.changes.troubles()).toEqual([expect.stringContaining('disk full')])
  Object.assign(b.journal, { register })
  await b.changes.followSites(b.sites)
  expect(viewOf(b, PH)?.limit).toBe(9.2)
  expect(b.changes.troubles()).toEqual([])
})

test('the alarm knows the rule it was raised under when another is in force', async () => {
  const b = await bench(loopWith('  tu.ph.high: { onDelay: 0s, why: "fast" }\n'))
  await b.rows(30, { 'tu.ph': 9.6 })
  await b.changes.change(PH, { limit: 9.5 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  expect(await b.changes.raisedUnder(PH)).toMatchObject({ version: 1, rule: { limit: 9 } })
  expect(viewOf(b, PH)).toMatchObject({ state: 'unacknowledged', count: 1, def: { version: 2 } })
})

test('ALM-61 a record of a change can neither be altered nor removed', async () => {
  const b = await bench()
  await b.changes.change(PH, { limit: 9.3 }, 'A. Reyes', { ...save, mark: mark(b, PH) })
  const { db } = await disk.open()
  await expect(db.updateTable('alarm_change').set({ reason: 'other' }).execute()).rejects.toThrow('only ever added')
  await expect(db.deleteFrom('alarm_change').execute()).rejects.toThrow('only ever added')
})

test('one changed loop among many leaves the alarms of all others the very objects they were', async () => {
  const { db, journal } = await disk.open()
  const many = new Map(Array.from({ length: 60 }, (_, i): [string, Site] => [`yard-${i}`, { ...loop(), id: `yard-${i}` }]))
  const { definitionsOf } = await import('../../gateway/alarms/changes.ts')
  const defs = [...many.values()].flatMap((s) => definitionsOf(s, new Map()).defs)
  const keeper = await startAlarmKeeper({ sites: many, defs, journal, clock: handClock(), emit: () => undefined })
  const before = keeper.alarmsOf('yard-7')
  const site = { ...loopWith('  tu.ph.high: { limit: 9.2, why: "x" }\n'), id: 'yard-3' }
  await keeper.follow(definitionsOf(site, new Map()).defs, new Map([['yard-3', site]]))
  for (const [i, v] of keeper.alarmsOf('yard-7').entries()) expect(v.def).toBe(before[i]?.def)
  expect(keeper.alarmsOf('yard-3').find((v) => v.def.id === 'yard-3/tu.ph.high')?.limit).toBe(9.2)
  expect(keeper.counters().find((c) => c.name === 'alarmRules')?.value).toBe(defs.length)
  await keeper.stop()
  await db.destroy()
})
