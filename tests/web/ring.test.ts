import fc from 'fast-check'
import { expect, test } from 'vitest'
import { arcPath, minus, MOST_TANKS, PIPE, place, point, type Arc } from '../../web/state/arcs.ts'
import { markOf, outerMarks } from '../../web/state/mark.ts'
import { alarm, loop } from './bodies.ts'

const tanks = (n: number) =>
  loop()
    .stages.filter((s) => s.kind !== 'bio')
    .concat(Array.from({ length: n }, (_, i) => ({ id: `bio${i + 1}`, kind: 'bio' as const, name: '', volumeL: null })))
const middleOf = (a: Arc): number => (a.from + a.to) / 2

test('every stage stands at the angles of the look, whatever else the loop has', () => {
  const whole = new Map(place(loop().stages).map((p) => [p.id, p.arc]))
  expect(whole.get('sump')).toEqual({ from: 200, to: 232 })
  expect(whole.get('filter')).toEqual({ from: 240, to: 266 })
  expect(whole.get('tu')).toEqual({ from: 274, to: 314 })
  expect(whole.get('finished')).toEqual({ from: 46, to: 130 })
  expect(whole.get('washer')).toEqual({ from: 138, to: 160 })
  expect(whole.get('bio1')).toEqual({ from: -38, to: -2 })
  expect(whole.get('bio2')).toEqual({ from: 2, to: 38 })
  const without = place(loop().stages.filter((s) => s.id !== 'sump'))
  for (const p of without) expect(p.arc).toEqual(whole.get(p.id))
})

test('one to six bio tanks share -38 to 38 with gaps of 4; a seventh lies on the sixth', () => {
  for (let n = 1; n <= 7; n++) {
    const bio = place(tanks(n)).filter((p) => p.kind === 'bio')
    const drawn = Math.min(n, MOST_TANKS)
    expect(bio).toHaveLength(n)
    expect(bio[0]?.arc.from).toBe(-38)
    expect(bio.at(-1)?.arc.to).toBeCloseTo(38, 9)
    for (let i = 1; i < drawn; i++) expect(bio[i]!.arc.from - bio[i - 1]!.arc.to).toBeCloseTo(4, 9)
  }
})

test('an opening is 40, 24 or 12 degrees at the middle of its stage and never wider than the stage and 8', () => {
  const opening = (stage: string, priority: 'high' | 'medium' | 'low' | 'alert') => outerMarks(loop({ alarms: [alarm({ stage, priority })] }))[0]?.opening ?? null
  const width = (o: Arc | null): number => (o ? o.to - o.from : 0)
  expect(width(opening('finished', 'high'))).toBe(40)
  expect(width(opening('finished', 'medium'))).toBe(24)
  expect(width(opening('finished', 'low'))).toBe(12)
  expect(width(opening('washer', 'high'))).toBe(30)
  expect(opening('finished', 'alert')).toBeNull()
  expect(middleOf(opening('tu', 'high')!)).toBe(294)
})

test('the ring stands open while the condition holds and is closed when it is gone, answered or not', () => {
  const openIn = (state: 'unacknowledged' | 'acknowledged' | 'returned' | 'latched-unacknowledged' | 'latched-acknowledged') =>
    outerMarks(loop({ alarms: [alarm({ state })] }))[0]?.opening !== null
  expect([openIn('unacknowledged'), openIn('acknowledged')]).toEqual([true, true])
  expect([openIn('returned'), openIn('latched-unacknowledged'), openIn('latched-acknowledged')]).toEqual([false, false, false])
})

test('a stage shows its worst mark, a ring three at most', () => {
  const marks = outerMarks(
    loop({
      alarms: ['sump', 'filter', 'tu', 'bio1', 'finished'].flatMap((stage, i) => [
        alarm({ id: `yard/${i}c`, stage, priority: 'low' }),
        alarm({ id: `yard/${i}b`, stage, priority: i === 4 ? 'high' : 'medium' }),
      ]),
    }),
  )
  expect(marks).toHaveLength(3)
  expect(marks[0]).toMatchObject({ stage: 'finished', letter: 'A' })
  expect(new Set(marks.map((m) => m.stage)).size).toBe(3)
})

test('a solid mark says nobody has answered, its line whether it is still there', () => {
  const of = (state: Parameters<typeof markOf>[0]['state'], held = false) => markOf(alarm({ state, heldSinceMs: held ? 1 : null }))
  expect(of('unacknowledged')).toEqual({ letter: 'A', answered: false, line: 'broken' })
  expect(of('acknowledged')).toEqual({ letter: 'A', answered: true, line: 'broken' })
  expect(of('returned')).toEqual({ letter: 'A', answered: false, line: 'whole' })
  expect(of('latched-unacknowledged')).toEqual({ letter: 'A', answered: false, line: 'latched' })
  expect(of('latched-acknowledged')).toEqual({ letter: 'A', answered: true, line: 'latched' })
  expect(of('acknowledged', true)).toEqual({ letter: 'A', answered: true, line: 'held' })
})

test('what is left of an arc and what was taken out of it make up the arc again', () => {
  const anArc = fc.tuple(fc.integer({ min: -40, max: 500 }), fc.integer({ min: 4, max: 80 })).map(([from, width]) => ({ from, to: from + width }))
  fc.assert(
    fc.property(fc.array(anArc, { maxLength: 3 }), (openings) => {
      const left = minus(PIPE, openings)
      const inAny = (angle: number, arcs: readonly Arc[]) => arcs.some((o) => [-720, -360, 0, 360, 720].some((t) => angle > o.from + t && angle < o.to + t))
      for (let angle = PIPE.from + 0.25; angle < PIPE.to; angle += 1) {
        const open = inAny(angle, openings)
        const kept = left.some((p) => angle > p.from && angle < p.to)
        // Slivers under half a degree are dropped, nothing else.
        if (open) expect(kept).toBe(false)
        else if (!kept) expect(inAny(angle - 0.5, openings) || inAny(angle + 0.5, openings)).toBe(true)
      }
    }),
  )
})

test("0 degrees is 12 o'clock, and angles go with the clock", () => {
  expect(point(0, 10)).toEqual([0, -10])
  expect(point(90, 10)[0]).toBeCloseTo(10, 9)
  expect(point(180, 10)[1]).toBeCloseTo(10, 9)
  expect(arcPath({ from: 0, to: 90 }, 10)).toMatch(/^M0 -10A10 10 0 0 1 10 -?0$/)
})

test('what is set aside has a mark of its own, whatever its state and priority, and never one that waits for an answer', () => {
  for (const state of ['unacknowledged', 'returned', 'latched-unacknowledged'] as const)
    for (const shown of ['shelved', 'suppressed', 'out-of-service'] as const) {
      expect(markOf({ ...alarm({ state }), shown })).toEqual({ letter: markOf(alarm({ state })).letter, answered: true, line: 'aside' })
      expect(markOf({ ...alarm({ state }), shown: state }).line).not.toBe('aside')
    }
})
