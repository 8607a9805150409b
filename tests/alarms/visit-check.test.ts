import { expect, test } from 'vitest'
import { rhythmOf, runsFrom, type Sample } from '../../gateway/alarms/run-evidence.ts'
import { CHECK_ENDS_MS, isOver, judgeCheck, newSeen, notBack, planCheck, see, type CheckLine, type CheckPlan } from '../../gateway/alarms/visit-check.ts'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'

const MIN = 60_000
const IN = Date.UTC(2026, 5, 10, 12)
const OUT = IN + 90 * MIN

function loop(equipment: string, signals: string): Site {
  const r = readSiteFile(
    'yard.yaml',
    `id: yard\nname: Yard\nzone: UTC\nsampleEvery: 60s\nreportEvery: 60s\ntrain:\n  - { stage: sump, volumeL: 1100 }\n  - { stage: treatment, volumeL: 2300 }\n  - { stage: finished, volumeL: 5700 }\n  - { stage: washer, lanceLPerMin: 23 }\nequipment:\n${equipment}signals:\n${signals}`,
  )
  if (!r.ok) throw new Error(r.faults.map(faultText).join('\n'))
  return r.site
}
/** A figure a minute over the hour before the visit, and a few before that. */
const hour = (value: (minute: number) => number): Sample[] => Array.from({ length: 65 }, (_, i) => ({ atMs: IN - 65 * MIN + i * MIN, value: value(i - 5) }))
const BLOWER = '  blower: { kind: aerator, name: Blower, serves: [tu] }\n'

function check(
  site: Site,
  before: Record<string, readonly Sample[]>,
): { plan: CheckPlan; at: (minute: number, after: Record<string, (minute: number) => number | null>) => Record<string, CheckLine> } {
  const plan = planCheck('visit', site, new Map(Object.entries(before)), IN, OUT)
  return {
    plan,
    at(minute, after) {
      const seen = newSeen()
      for (let m = 0; m <= minute; m++)
        for (const [id, value] of Object.entries(after)) {
          const v = value(m)
          if (v !== null) see(plan, seen, id, { atMs: OUT + m * MIN, value: v })
        }
      return Object.fromEntries(judgeCheck(plan, seen, OUT + minute * MIN).map((l) => [l.id, l]))
    },
  }
}
const outcome = (lines: Record<string, CheckLine>, id: string): string | undefined => lines[id]?.outcome

test('a machine that ran all the time runs again, is not yet back for 15 min, and is not seen after that', () => {
  const c = check(loop(BLOWER, '  blower.run:\n'), { 'blower.run': hour(() => 1) })
  expect(outcome(c.at(0, { 'blower.run': () => 0 }), 'blower')).toBe('not-yet')
  expect(outcome(c.at(14, { 'blower.run': () => 0 }), 'blower')).toBe('not-yet')
  const late = c.at(15, { 'blower.run': () => 0 })
  expect(late.blower).toMatchObject({ outcome: 'not-seen', part: 'air', dueMs: OUT + 15 * MIN, why: 'ran all through the hour before; not seen running since' })
  expect(notBack(Object.values(late), true).map((l) => l.name)).toEqual(['Blower'])
  expect(notBack(Object.values(late), false)).toEqual([])
  expect(outcome(c.at(15, { 'blower.run': (m) => (m < 10 ? 0 : 1) }), 'blower')).toBe('runs')
  // Tried once and off again is not back.
  expect(outcome(c.at(15, { 'blower.run': (m) => (m === 3 ? 1 : 0) }), 'blower')).toBe('not-seen')
})

test('pressure is believed before a contact: a running blower with its hose off is not back', () => {
  const site = loop(BLOWER, '  blower.run:\n  blower.pressure:\n')
  const c = check(site, { 'blower.run': hour(() => 1), 'blower.pressure': hour(() => 210) })
  expect(outcome(c.at(15, { 'blower.run': () => 1, 'blower.pressure': () => 70 }), 'blower')).toBe('not-seen')
  expect(outcome(c.at(15, { 'blower.run': () => 1, 'blower.pressure': () => 150 }), 'blower')).toBe('runs')
})

test('a blower that pauses by a timer is due after its own longest rest and not before', () => {
  // 10 min on, 20 min off.
  const c = check(loop(BLOWER, '  blower.run:\n'), { 'blower.run': hour((m) => ((m + 300) % 30 < 10 ? 1 : 0)) })
  expect(c.plan.items[0]).toMatchObject({ steady: false, why: 'ran twice in the hour before, longest rest 20 min' })
  expect(outcome(c.at(29, { 'blower.run': () => 0 }), 'blower')).toBe('not-yet')
  expect(outcome(c.at(30, { 'blower.run': () => 0 }), 'blower')).toBe('not-seen')
  expect(outcome(c.at(30, { 'blower.run': (m) => (m === 12 ? 1 : 0) }), 'blower')).toBe('runs')
})

test('a washer is never due, and a pump that ran once or twice neither: that is said', () => {
  const site = loop('  hp: { kind: washer, name: Washer }\n  transfer: { kind: pump, name: Transfer pump }\n', '  hp.run:\n  transfer.run:\n')
  const c = check(site, { 'hp.run': hour((m) => (m % 20 === 3 ? 1 : 0)), 'transfer.run': hour((m) => (m >= 30 && m < 34 ? 1 : 0)) })
  const lines = c.at(15, { 'hp.run': () => 0, 'transfer.run': () => 0 })
  expect(lines.hp).toMatchObject({ outcome: 'cannot-tell', why: 'ran 3 times in the hour before; it runs only when somebody washes' })
  expect(lines.transfer).toMatchObject({ outcome: 'cannot-tell', why: 'ran once in the hour before: too seldom to be due at a time' })
  expect(notBack(Object.values(lines), false)).toEqual([])
  expect(outcome(c.at(15, { 'hp.run': () => 0, 'transfer.run': (m) => (m === 5 ? 1 : 0) }), 'transfer')).toBe('runs')
})

test('a pump that worked for the washing waits until somebody washes again, and is due after twice its longest rest from then', () => {
  const site = loop('  hp: { kind: washer, name: Washer }\n  acid: { kind: dosing, name: Acid pump, doses: acid, serves: [tu] }\n', '  hp.run:\n  acid.run:\n')
  const c = check(site, { 'hp.run': hour((m) => (m % 10 < 5 ? 1 : 0)), 'acid.run': hour((m) => (m % 10 < 2 ? 1 : 0)) })
  expect(outcome(c.at(60, { 'hp.run': () => 0, 'acid.run': () => 0 }), 'acid')).toBe('not-yet')
  expect(outcome(c.at(120, { 'hp.run': () => 0, 'acid.run': () => 0 }), 'acid')).toBe('cannot-tell')
  const washing = { 'hp.run': (m: number) => (m >= 60 ? 1 : 0), 'acid.run': () => 0 }
  expect(outcome(c.at(75, washing), 'acid')).toBe('not-yet')
  expect(outcome(c.at(76, washing), 'acid')).toBe('not-seen')
})

test('a dosing pump with a rhythm of its own is due after twice its longest rest, 15 min at least', () => {
  const site = loop('  acid: { kind: dosing, name: Acid pump, doses: acid, serves: [tu] }\n', '  acid.run:\n')
  // A minute every 12.
  const c = check(site, { 'acid.run': hour((m) => ((m + 60) % 12 === 0 ? 1 : 0)) })
  expect(outcome(c.at(21, { 'acid.run': () => 0 }), 'acid')).toBe('not-yet')
  expect(outcome(c.at(22, { 'acid.run': () => 0 }), 'acid')).toBe('not-seen')
})

test('what was at rest is not expected; what shows by nothing, or was not received, cannot be told on this loop', () => {
  const site = loop(`${BLOWER}  transfer: { kind: pump, name: Transfer pump }\n  ozone: { kind: ozone, name: Ozone }\n`, '  blower.run:\n  transfer.run:\n  tu.do:\n')
  const c = check(site, { 'blower.run': hour(() => 1).slice(0, 20), 'transfer.run': hour(() => 0) })
  expect(c.plan.atRest).toEqual(['Transfer pump'])
  const lines = c.at(15, { 'blower.run': () => 0 })
  expect(lines.blower).toMatchObject({ outcome: 'cannot-tell', why: 'too little of it was received in the hour before' })
  expect(lines.ozone).toMatchObject({ outcome: 'cannot-tell', why: 'no signal of this loop shows whether it runs' })
  expect(lines.transfer).toBeUndefined()
})

test('a contact that is sent on change, once in a quarter of an hour, is believed as long as it is not stale', () => {
  const site = loop(BLOWER, '  blower.run: { sampleEvery: 60s, reportEvery: 15min }\n')
  const before = [{ atMs: IN - 70 * MIN, value: 1 }, ...[55, 40, 25, 10].map((m) => ({ atMs: IN - m * MIN, value: 1 }))]
  const plan = planCheck('visit', site, new Map([['blower.run', before]]), IN, OUT)
  const seen = newSeen()
  see(plan, seen, 'blower.run', { atMs: OUT - 5 * MIN, value: 0 })
  expect(judgeCheck(plan, seen, OUT + 15 * MIN)[0]).toMatchObject({ outcome: 'not-seen' })
  expect(judgeCheck(plan, seen, OUT + 60 * MIN)[0]).toMatchObject({ outcome: 'cannot-tell' })
})

test('a counter shows that a pump ran by rising, and a current by its share of the hour before', () => {
  const site = loop('  transfer: { kind: pump, name: Transfer pump, nameplateA: 4 }\n  wash: { kind: pump, name: Wash pump }\n', '  transfer.current:\n  wash.starts:\n')
  const c = check(site, { 'transfer.current': hour(() => 3.1), 'wash.starts': hour((m) => Math.floor((m + 60) / 6)) })
  expect(outcome(c.at(15, { 'transfer.current': () => 0.2, 'wash.starts': () => 20 }), 'transfer')).toBe('not-seen')
  expect(outcome(c.at(15, { 'transfer.current': () => 2.9, 'wash.starts': () => 20 }), 'transfer')).toBe('runs')
  expect(outcome(c.at(15, { 'wash.starts': () => 20 }), 'wash')).toBe('not-seen')
  expect(outcome(c.at(15, { 'wash.starts': (m) => (m < 8 ? 20 : 21) }), 'wash')).toBe('runs')
})

test('a selector that was in auto must be in auto, one that was not is left alone, and air stands first', () => {
  const site = loop(`  acid: { kind: dosing, name: Acid pump, doses: acid, serves: [tu] }\n${BLOWER}`, '  acid.auto:\n  blower.auto:\n  blower.run:\n  acid.run:\n')
  const c = check(site, { 'acid.auto': hour(() => 1), 'blower.auto': hour(() => 0), 'blower.run': hour(() => 1), 'acid.run': hour(() => 0) })
  expect(c.plan.items.map((i) => i.id)).toEqual(['blower', 'acid.auto', 'link'])
  expect(c.at(15, { 'acid.auto': () => 0, 'blower.run': () => 1 })['acid.auto']).toMatchObject({ outcome: 'not-seen', why: 'in hand or off; was in auto before' })
})

test('a check is over when all that can be seen is seen, and goes on while something is missing or still to come', () => {
  const c = check(loop(BLOWER, '  blower.run:\n'), { 'blower.run': hour(() => 1) })
  const over = (minute: number, on: (m: number) => number): boolean => isOver(c.plan, Object.values(c.at(minute, { 'blower.run': on })), OUT + minute * MIN, OUT)
  expect(over(5, () => 1)).toBe(false)
  expect(over(15, () => 1)).toBe(true)
  expect(over(CHECK_ENDS_MS / MIN + 60, () => 0)).toBe(false)
})

test('how a machine ran is told from its own figures: gaps longer than it stays believable are no evidence', () => {
  const [s] = loop(BLOWER, '  blower.run:\n').signals
  if (!s) throw new Error('no signal')
  const all = hour(() => 1)
  expect(rhythmOf(s, runsFrom(s, null, all), all, IN - 60 * MIN, IN)).toMatchObject({ kind: 'all', runs: 1, longestRestMs: 0 })
  expect(rhythmOf(s, 1, [{ atMs: IN - 65 * MIN, value: 1 }], IN - 60 * MIN, IN).kind).toBe('unknown')
  expect(
    rhythmOf(
      s,
      null,
      hour(() => 0),
      IN - 60 * MIN,
      IN,
    ),
  ).toMatchObject({ kind: 'rest', longestRestMs: 60 * MIN })
})
