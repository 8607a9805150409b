import { expect, test } from 'vitest'
import { dueOf } from '../../gateway/due/due.ts'
import { proofsOf } from '../../gateway/due/proofs.ts'
import type { Expected } from '../../gateway/outlook/expected.ts'
import { monthsLater, noonOf } from '../../gateway/outlook/local-date.ts'
import { DAY, entry, facts, firstNormal, NOW, PROTECTIONS, yard } from './loop.ts'

const ids = (more: Parameters<typeof facts>[1] = {}, values = {}, site = yard()) => dueOf(facts(site, more, values)).map((d) => d.id)
const one = (id: string, more: Parameters<typeof facts>[1] = {}, values = {}, site = yard()) => dueOf(facts(site, more, values)).find((d) => d.id === id)

test('a protection is due a month after its newest proof, by site file or site log, and from the new proof on when somebody writes one', () => {
  expect(one('proof acid-max-run')).toMatchObject({ dueMs: noonOf('2026-03-10', 'Europe/London') + 31 * DAY, why: 'Last proved 10 Mar 2026; every month.' })
  const log = [entry({ kind: 'interlock-proved', about: 'acid-max-run' }, 1)]
  expect(one('proof acid-max-run', { log })).toMatchObject({ dueMs: NOW + 30 * DAY, settles: { kind: 'interlock-proved', about: 'acid-max-run' } })
})

test('a protection nobody ever proved is due without a date; one that is not there is no work, it stands in the register', () => {
  expect(one('proof sump-high-high')).toMatchObject({ dueMs: null, why: 'Nobody has written down that it was ever shown to work.' })
  expect(ids()).not.toContain('proof overflow-bund')
  expect(proofsOf(yard(), []).find((p) => p.id === 'overflow-bund')).toMatchObject({ fitted: 'no', dueMs: null })
})

test('the register says what such a loop should have and its file does not speak of, and a proof in the log shows that it is there', () => {
  const unknown = (log = [] as ReturnType<typeof entry>[]) =>
    proofsOf(yard(), log)
      .filter((p) => p.fitted === 'unknown')
      .map((p) => p.id)
  expect(unknown()).toEqual(['finished-low-low', 'restart-after-power', 'h2s-beacon', 'backflow-preventer', 'rcd', 'e-stop'])
  expect(unknown([entry({ kind: 'interlock-proved', about: 'rcd' }, 2)])).not.toContain('rcd')
  for (const p of proofsOf(yard(), [])) expect(p.prove, p.id).toMatch(/\.$/)
})

test('an entry that a later one corrects proves nothing', () => {
  const wrong = entry({ kind: 'interlock-proved', about: 'sump-high-high' }, 3)
  expect(one('proof sump-high-high', { log: [entry({ kind: 'note', corrects: wrong.id, text: 'wrong loop' }, 2), wrong] })?.dueMs).toBeNull()
})

test('probes are due by their own interval from the newest calibration of that signal, stage or kind; a cap by its age', () => {
  expect(one('probe tu.ph')).toMatchObject({ dueMs: null, why: 'No calibration of it stands in the site log.' })
  const log = [
    entry({ kind: 'calibration', about: 'tu.ph', item: 'pH', value: 7, asFound: 7.2 }, 30),
    entry({ kind: 'calibration', about: 'tu', item: 'oxygen', value: 9 }, 3),
    entry({ kind: 'replacement', about: 'tu.do', item: 'probe' }, 740),
  ]
  expect(one('probe tu.ph', { log })).toMatchObject({ dueMs: NOW - 2 * DAY, why: 'Last done 14 Feb 2026, found 7.2 where 7 was right; every 28 days.' })
  expect(one('probe tu.do', { log })?.dueMs).toBe(NOW + 11 * DAY)
  expect(one('probe bio1.do', { log })?.dueMs).toBeNull()
  expect(one('part tu.do', { log })?.dueMs).toBe(NOW - 10 * DAY)
  expect(ids({ log })).not.toContain('part bio1.do')
})

test('a kit value of alkalinity is due a month after the last', () => {
  expect(one('kit alkalinity')?.dueMs).toBeNull()
  expect(one('kit alkalinity', { log: [entry({ kind: 'kit', item: 'alkalinity', value: 110, unit: 'mg/L' }, 40)] })).toMatchObject({ dueMs: NOW - 10 * DAY })
})

test('drums, roll and services stand at the early end of their forecast; what is withheld, a limit or out of sight is no work', () => {
  const e = (more: Partial<Expected>): Expected => ({
    id: 'acid',
    what: 'Acid used up',
    stage: 'tu',
    kind: 'stock',
    outlook: { kind: 'reached' },
    basis: null,
    left: null,
    unlock: null,
    ...more,
  })
  const expected = [
    e({ outlook: { kind: 'forecast', lowMs: NOW + 3 * DAY, medianMs: NOW + 5 * DAY, highMs: NOW + 9 * DAY, from: 20 }, left: { value: 6.4, unit: 'L' }, basis: 'at 1.2 L a day' }),
    e({ id: 'hp', kind: 'service', what: 'Service of the pressure washer' }),
    e({ id: 'sump.level', kind: 'limit', what: 'Sump at 95 %' }),
    e({ id: 'microbes', outlook: { kind: 'not-observable', because: 'nothing counts it' }, unlock: 'x' }),
    e({ id: 'nutrient', outlook: { kind: 'beyond', untilMs: NOW + 100 * DAY } }),
  ]
  const all = dueOf(facts(yard(), { expected })).filter((d) => d.kind === 'stock' || d.kind === 'service')
  expect(all.map((d) => [d.id, d.dueMs])).toEqual([
    ['service hp', NOW],
    ['stock acid', NOW + 3 * DAY],
  ])
  expect(all[1]).toMatchObject({ what: 'Refill: Acid', why: '6.4 L left, at 1.2 L a day, most likely 21 Mar 2026', settles: { kind: 'refill', about: 'acid' } })
})

test('air pressure a third above its first weeks wants clean diffusers; a quarter above does not', () => {
  const normals = [firstNormal('blower1.pressure', 180)]
  expect(one('air blower1.pressure', { normals }, { 'blower1.pressure': 240 })).toMatchObject({
    kind: 'condition',
    stage: 'tu',
    why: expect.stringMatching(/240 against 180 .*: 33 % more\.$/),
  })
  expect(ids({ normals }, { 'blower1.pressure': 225 })).not.toContain('air blower1.pressure')
  expect(ids({}, { 'blower1.pressure': 240 })).not.toContain('air blower1.pressure')
})

test('salt is judged against the make-up water, and not at all where only one of the two is measured', () => {
  const two = yard(PROTECTIONS.replace('protections:', '  tu.conductivity:\n  makeup.conductivity: { in: finished }\nprotections:'))
  expect(ids({}, { 'tu.conductivity': 1900, 'makeup.conductivity': 500 }, two)).toContain('salt tu.conductivity')
  expect(ids({}, { 'tu.conductivity': 1400, 'makeup.conductivity': 500 }, two)).not.toContain('salt tu.conductivity')
  const alone = yard(PROTECTIONS.replace('protections:', '  tu.conductivity:\nprotections:'))
  expect(ids({}, { 'tu.conductivity': 9000 }, alone)).not.toContain('salt tu.conductivity')
})

test('an instrument that only a low alarm needs is work when it is dead; one a louder alarm needs is an alarm, and of a silent loop no instrument is dead', () => {
  const site = yard(PROTECTIONS.replace('protections:', '  finished.turbidity:\nprotections:'))
  const old = { 'finished.turbidity': 9, 'tu.ph': 7 }
  const at = facts(site, {}, old)
  const latest = new Map([...at.latest].map(([id, r]) => [id, { ...r, sourceMs: NOW - 2 * DAY }]))
  const dead = (more: Parameters<typeof facts>[1]) => dueOf(facts(site, more)).flatMap((d) => (d.id.startsWith('dead') ? [d.id] : []))
  expect(dead({ latest })).toEqual(['dead finished.turbidity'])
  expect(dead({ latest, silent: true })).toEqual([])
  expect(dead({ latest: at.latest })).toEqual([])
  expect(dead({})).toEqual([])
})

test('a motor above 115 % of its plate wants a look; at 110 % it does not', () => {
  const site = yard(PROTECTIONS.replace('protections:', '  hp.current:\nprotections:'))
  const plated = { ...site, equipment: site.equipment.map((e) => (e.id === 'hp' ? { ...e, nameplateA: 20 } : e)) }
  expect(ids({}, { 'hp.current': 24 }, plated)).toContain('motor hp.current')
  expect(ids({}, { 'hp.current': 22 }, plated)).not.toContain('motor hp.current')
})

test('ALM-40 the alarms of a loop are due for review from when the site file says, and at once where nobody ever went through them', () => {
  expect(one('review alarms')).toMatchObject({ dueMs: null, what: expect.stringMatching(/^Go through the \d+ alarm rules of this loop$/) })
  const reviewed = yard(`${PROTECTIONS}alarmReview: { owner: "Ida Holm", reviewedOn: "2026-01-31", everyMonths: 1 }\n`)
  expect(one('review alarms', {}, {}, reviewed)?.dueMs).toBe(noonOf('2026-02-28', 'Europe/London'))
})

test('ALM-S7 an alarm out of service is due for a look by its date of review, with who took it out, why, and what is done meanwhile', () => {
  const out = { by: 'Marit', reason: 'probe broken', measure: 'Kit every Monday.', reviewMs: NOW - DAY, atMs: NOW - 9 * DAY, overdue: true }
  const alarms = facts(yard()).alarms.map((a) => (a.def.id.endsWith('/tu.do.low') ? { ...a, outOfService: out } : a))
  expect(alarms.filter((a) => a.outOfService !== null)).toHaveLength(1)
  expect(one('out-of-service tu.do.low', { alarms })).toMatchObject({
    kind: 'review',
    dueMs: NOW - DAY,
    settles: null,
    why: 'Out of service since 7 Mar 2026, by Marit: probe broken. Meanwhile: Kit every Monday.',
  })
  expect(ids().filter((d) => d.startsWith('out-of-service'))).toEqual([])
})

test('the list is in the order of its dates: overdue, then what nobody knows the last time of, then what comes', () => {
  const log = [entry({ kind: 'calibration', about: 'tu.ph' }, 60), entry({ kind: 'calibration', about: 'bio1.do' }, 15), entry({ kind: 'calibration', about: 'tu.do' }, 1)]
  const dates = dueOf(facts(yard(), { log })).map((d) => d.dueMs)
  const overdue = dates.filter((d) => d !== null && d <= NOW)
  const coming = dates.filter((d) => d !== null && d > NOW)
  expect(overdue).toEqual([NOW - 32 * DAY, NOW - DAY])
  expect(coming).toEqual(coming.toSorted((a, b) => (a ?? 0) - (b ?? 0)))
  expect(dates).toEqual([...overdue, ...dates.filter((d) => d === null), ...coming])
})

test('every line says what, why and what to bring, and its id stands once', () => {
  const all = dueOf(facts(yard()))
  expect(new Set(all.map((d) => d.id)).size).toBe(all.length)
  expect(all.length).toBeGreaterThan(8)
  for (const d of all) {
    expect(d.what, d.id).toMatch(/^\S.{8,}/)
    expect(d.why, d.id).toMatch(/\.$/)
    if (d.kind !== 'review') expect(d.bring, d.id).toMatch(/\.$/)
  }
})

test.each([
  ['2026-01-31', 1, '2026-02-28'],
  ['2024-01-31', 1, '2024-02-29'],
  ['2026-11-15', 12, '2027-11-15'],
  ['2026-12-31', 2, '2027-02-28'],
  ['2100-01-29', 1, '2100-02-28'],
])('%s and %d months are %s (Gregorian calendar)', (from, months, to) => expect(monthsLater(from, months)).toBe(to))

test('a date of a site file is noon on the clock of its yard', () => {
  expect(noonOf('2026-07-01', 'Europe/Lisbon')).toBe(Date.UTC(2026, 6, 1, 11))
  expect(noonOf('2026-01-01', 'Europe/Lisbon')).toBe(Date.UTC(2026, 0, 1, 12))
  expect(noonOf('2026-01-01', 'America/Los_Angeles')).toBe(Date.UTC(2026, 0, 1, 20))
  expect(noonOf('2026-01-01', 'Pacific/Auckland')).toBe(Date.UTC(2025, 11, 31, 23))
})
