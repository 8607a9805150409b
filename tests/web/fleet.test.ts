import { expect, test } from 'vitest'
import { areas, count, fieldForm, folded, found, heldOrder, needs } from '../../web/state/fleet.ts'
import { answer, facts, firstSentence, ringSentence } from '../../web/state/sentence.ts'
import { byUrgency } from '../../web/state/mark.ts'
import { alarm, loop, MIN, NOW } from './bodies.ts'

const withAlarm = (id: string, more: Parameters<typeof alarm>[0]) => loop({ id, name: id, alarms: [alarm({ id: `${id}/x`, site: id, ...more })] })

test('need someone: what nobody has answered first, then priority, then the newest', () => {
  const rows = needs([
    withAlarm('answered-a', { priority: 'high', state: 'acknowledged', acknowledgedBy: 'Ruth A.', acknowledgedMs: NOW }),
    withAlarm('old-b', { priority: 'medium', raisedMs: NOW - 50 * MIN }),
    withAlarm('c', { priority: 'low' }),
    withAlarm('new-b', { priority: 'medium', raisedMs: NOW - 2 * MIN }),
    withAlarm('a', { priority: 'high', raisedMs: NOW - 90 * MIN }),
    withAlarm('gone-a', { priority: 'high', state: 'returned', clearedMs: NOW, raisedMs: NOW - 99 * MIN }),
  ])
  expect(rows.map((r) => r.id)).toEqual(['a', 'gone-a', 'new-b', 'old-b', 'c', 'answered-a'])
})

test('a loop stands once, under its most urgent alarm, and says how many more it has', () => {
  const rows = needs([loop({ alarms: [alarm({ id: 'yard/c', priority: 'low' }), alarm({ id: 'yard/a' }), alarm({ id: 'yard/w', priority: 'alert' })] })])
  expect(rows.map((r) => [r.alarm?.id, r.more])).toEqual([['yard/a', 1]])
})

test('a watch needs nobody; a silent loop without an alarm does', () => {
  expect(needs([withAlarm('w', { priority: 'alert' })])).toEqual([])
  expect(needs([loop({ id: 's', silent: true })]).map((r) => r.id)).toEqual(['s'])
})

test('every loop is counted once, and the groups add up to the fleet', () => {
  const fleet = [
    loop({ id: 'q' }),
    withAlarm('a', {}),
    withAlarm('b', { priority: 'medium', state: 'acknowledged' }),
    withAlarm('w', { priority: 'alert' }),
    loop({ id: 's', silent: true }),
    loop({ id: 'd', doubtful: ['tu'], alarms: [alarm({ id: 'd/c', priority: 'low' }), alarm({ id: 'd/a' })] }),
  ]
  const c = count(fleet)
  expect(Object.values(c.groups).reduce((sum, g) => sum + g.loops, 0)).toBe(fleet.length)
  expect(c.groups.A).toEqual({ loops: 2, unanswered: 2 })
  expect(c.groups.B).toEqual({ loops: 1, unanswered: 0 })
  expect(c.groups.W).toEqual({ loops: 1, unanswered: 0 })
  expect([c.silent, c.doubtful, c.total]).toEqual([1, 1, 6])
})

test('the more loops, the smaller the rings; over 400 they are beads', () => {
  expect([1, 30, 31, 150, 151, 400, 401, 2000].map(fieldForm)).toEqual(['large', 'large', 'middle', 'middle', 'small', 'small', 'beads', 'beads'])
})

test('places in the field are fixed by area and name, whatever order the server sends and whatever stands', () => {
  const all = [loop({ id: '1', name: 'Zellby', area: 'Town' }), loop({ id: '2', name: 'Aldrake', area: 'Town' }), loop({ id: '3', name: 'Orriston', area: 'Coast' })]
  const names = (l: typeof all) => areas(l).map((a) => [a.area, a.loops.map((x) => x.name)])
  expect(names(all)).toEqual([
    ['Coast', ['Orriston']],
    ['Town', ['Aldrake', 'Zellby']],
  ])
  expect(names([...all].reverse())).toEqual(names(all))
})

test('while somebody is in the list rows keep their places, and what is new does not push them aside', () => {
  const first = needs([withAlarm('b', { priority: 'medium' }), withAlarm('c', { priority: 'low' })])
  const held = first.map((r) => r.id)
  const later = needs([withAlarm('a', {}), withAlarm('b', { priority: 'medium' }), withAlarm('c', { priority: 'low' })])
  const shown = heldOrder(held, later)
  expect(shown.rows.slice(0, 2).map((r) => r.id)).toEqual(['b', 'c'])
  expect(shown.waiting).toBe(1)
  expect(heldOrder(null, later).rows.map((r) => r.id)).toEqual(['a', 'b', 'c'])
})

test('a ring is told in one sentence: where, how urgent, whether answered, what, and the water', () => {
  expect(ringSentence(loop({ name: 'Kestrow, berth 3', alarms: [alarm()] }), NOW)).toBe('Kestrow, berth 3: act now, unanswered, No air in bio tank 1. Finished water 78 percent.')
  expect(ringSentence(loop(), NOW)).toBe('Yard: quiet. Finished water 78 percent.')
  expect(ringSentence(loop({ silent: true, heardMs: NOW - 47 * MIN }), NOW)).toContain('silent for 47\u00a0min')
  expect(ringSentence(loop({ silent: true, heardMs: null }), NOW)).toContain('nothing heard yet')
})

test('facts of an alarm leave out what is not known, and the figure of a contact', () => {
  expect(facts(alarm(), NOW, 'Europe/London')).toBe('0.0\u00a0A, limit 2.0, since 03:11')
  expect(facts(alarm({ limit: null, value: 1, valueNow: 1 }), NOW, 'Europe/London')).toBe('since 03:11')
})

test('ordering is the same from either side and has no ties that jump', () => {
  const all = [
    alarm({ id: '1' }),
    alarm({ id: '2', priority: 'low' }),
    alarm({ id: '3', state: 'acknowledged' }),
    alarm({ id: '4', priority: 'alert' }),
    alarm({ id: '5', state: 'returned' }),
  ]
  for (const a of all) for (const b of all) expect(Math.sign(byUrgency(a, b))).toBe(-Math.sign(byUrgency(b, a)) || 0)
})

test('a frozen list only counts what is new, except an A nobody has answered', () => {
  const held = needs([withAlarm('c', { priority: 'low' })]).map((r) => r.id)
  const later = needs([withAlarm('a', {}), withAlarm('b', { priority: 'medium' }), withAlarm('c', { priority: 'low' })])
  const frozen = heldOrder(held, later, true)
  expect(frozen.rows.map((r) => r.id)).toEqual(['c', 'a'])
  expect(frozen.waiting).toBe(2)
  expect(heldOrder(held, later, false).rows.map((r) => r.id)).toEqual(['c', 'a', 'b'])
})

test('a long list is folded with what is left out counted by kind, and never an A among it', () => {
  const rows = needs([
    ...Array.from({ length: 5 }, (_, i) => withAlarm(`b${i}`, { priority: 'medium' })),
    ...Array.from({ length: 3 }, (_, i) => withAlarm(`c${i}`, { priority: 'low' })),
    loop({ id: 's', silent: true }),
    withAlarm('answered', { state: 'acknowledged' }),
  ])
  const short = folded(rows, 4)
  expect(short.rows).toHaveLength(5)
  expect(short.rows.at(-1)?.id).toBe('answered')
  expect(short.more).toEqual([
    ['B', 1],
    ['C', 3],
    ['silent', 1],
  ])
  expect(folded(rows, Number.POSITIVE_INFINITY).more).toEqual([])
})

test('more than twelve full rows: all but an A nobody has answered go to one line', () => {
  const rows = needs([
    ...Array.from({ length: 14 }, (_, i) => withAlarm(`a${i}`, {})),
    withAlarm('b', { priority: 'medium' }),
    ...Array.from({ length: 2 }, (_, i) => withAlarm(`answered${i}`, { state: 'acknowledged' })),
  ])
  expect(rows.filter((r) => r.form === 'full').map((r) => r.id)).toEqual(Array.from({ length: 14 }, (_, i) => `a${i}`))
})

test('a loop is found by any words of its name and area, in any case', () => {
  const all = [loop({ id: '1', name: 'Kestrow Ferry Terminal, berth 3', area: 'Coast' }), loop({ id: '2', name: 'Ferrier Gravel', area: 'Hill' })]
  const ids = (text: string) => found(all, text).map((l) => l.id)
  expect([ids('ferry'), ids('BERTH kest'), ids('hill'), ids('  '), ids('nowhere')]).toEqual([['1'], ['1'], ['2'], ['1', '2'], []])
})

test('times of a site whose clock differs from the reader say their offset, others do not', () => {
  const there = alarm({ zone: 'America/Denver' })
  expect(facts(there, NOW, 'Europe/London')).toBe('0.0\u00a0A, limit 2.0, since 20:11\u00a0UTC\u22127')
  expect(facts(there, NOW, 'America/Phoenix')).toBe('0.0\u00a0A, limit 2.0, since 20:11')
  expect(answer(alarm({ zone: 'Asia/Kolkata', state: 'acknowledged', acknowledgedBy: 'Ruth A.', acknowledgedMs: NOW, note: 'on my way' }), NOW, 'UTC')).toBe(
    'Ruth A. has it since 08:46\u00a0UTC+5:30: “on my way”.',
  )
})

test('an alert is never told as unanswered', () => {
  const watch = loop({ alarms: [alarm({ priority: 'alert', what: 'Selector in hand' })] })
  expect(answer(alarm({ priority: 'alert' }), NOW)).toBe('To watch.')
  expect(ringSentence(watch, NOW)).toBe('Yard: watch, Selector in hand. Finished water 78 percent.')
})

test('the first sentence of a consequence ends where it ends, not at a figure', () => {
  expect(firstSentence('Septic in 1.5 h. Then it smells.')).toBe('Septic in 1.5 h.')
  expect(firstSentence('No air; then it smells.')).toBe('No air.')
  expect(firstSentence('No end')).toBe('No end')
})
