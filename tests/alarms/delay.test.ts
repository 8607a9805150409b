import fc from 'fast-check'
import { expect, test } from 'vitest'
import { ACTIVE, dueMs, elapse, NORMAL, shiftDelay, stepDelay, type Change, type DelayState, type Delays } from '../../gateway/alarms/delay.ts'
import type { Judgement } from '../../gateway/alarms/limit.ts'

const d: Delays = { onMs: 60, offMs: 30 }
const run = (samples: readonly (readonly [number, Judgement])[], delays = d, start: DelayState = NORMAL): Change[] => {
  let s = start
  return samples.flatMap(([t, j]) => {
    const step = stepDelay(s, j, t, delays)
    s = step.state
    return step.changes
  })
}

test('ALM-25 a raise fires at first sample + delay, not at the sample that happens to come next', () => {
  expect(
    run([
      [0, 'violated'],
      [45, 'violated'],
      [95, 'violated'],
    ]),
  ).toEqual([{ kind: 'raise', atMs: 60 }])
})

test('ALM-25 a sample stamped with the due time is applied before the timer: it can still cancel, or confirm', () => {
  expect(
    run([
      [0, 'violated'],
      [60, 'cleared'],
    ]),
  ).toEqual([])
  expect(
    run([
      [0, 'violated'],
      [60, 'violated'],
    ]),
  ).toEqual([{ kind: 'raise', atMs: 60 }])
})

test('ALM-26 a value inside the deadband cancels a running off-delay, and the clear then needs the whole delay again', () => {
  const changes = run(
    [
      [0, 'cleared'],
      [20, 'inside'],
      [25, 'cleared'],
      [40, 'cleared'],
      [56, 'cleared'],
    ],
    d,
    ACTIVE,
  )
  expect(changes).toEqual([{ kind: 'clear', atMs: 55 }])
})

test('ALM-26 a value inside the deadband breaks a running on-delay', () => {
  expect(
    run([
      [0, 'violated'],
      [30, 'inside'],
      [40, 'violated'],
      [99, 'violated'],
    ]),
  ).toEqual([])
})

test('with no delays a raise and a clear happen at their samples', () => {
  const changes = run(
    [
      [0, 'violated'],
      [10, 'cleared'],
      [20, 'violated'],
    ],
    { onMs: 0, offMs: 0 },
  )
  expect(changes.map((c) => [c.kind, c.atMs])).toEqual([
    ['raise', 0],
    ['clear', 10],
    ['raise', 20],
  ])
})

test('one late sample can carry both the raise that was due before it and its own clear', () => {
  expect(
    run(
      [
        [0, 'violated'],
        [61, 'cleared'],
      ],
      { onMs: 60, offMs: 0 },
    ),
  ).toEqual([
    { kind: 'raise', atMs: 60 },
    { kind: 'clear', atMs: 61 },
  ])
})

test('a delay shortened below what has run is over at the sample that shortened it, never before', () => {
  const rising: DelayState = { phase: 'rising', sinceMs: 0 }
  expect(stepDelay(rising, 'violated', 200, { onMs: 600, offMs: 0 }, { onMs: 180, offMs: 0 }).changes).toEqual([{ kind: 'raise', atMs: 200 }])
  expect(stepDelay(rising, 'violated', 100, { onMs: 600, offMs: 0 }, { onMs: 180, offMs: 0 }).changes).toEqual([])
})

test('time without samples fires what is due and nothing else', () => {
  const rising: DelayState = { phase: 'rising', sinceMs: 100 }
  expect(elapse(rising, 159, d).changes).toEqual([])
  expect(elapse(rising, 160, d)).toEqual({ state: ACTIVE, changes: [{ kind: 'raise', atMs: 160 }] })
  expect(elapse(ACTIVE, 1e12, d).changes).toEqual([])
  expect(dueMs(NORMAL, d)).toBe(Number.POSITIVE_INFINITY)
})

test('a timer that stood still is over that much later; states without a timer do not move', () => {
  expect(shiftDelay({ phase: 'rising', sinceMs: 5 }, 10)).toEqual({ phase: 'rising', sinceMs: 15 })
  expect(shiftDelay({ phase: 'falling', sinceMs: 5 }, 10)).toEqual({ phase: 'falling', sinceMs: 15 })
  expect(shiftDelay(ACTIVE, 10)).toBe(ACTIVE)
})

const samples = fc.array(fc.tuple(fc.integer({ min: 1, max: 80 }), fc.constantFrom<Judgement>('violated', 'inside', 'cleared')), { maxLength: 60 }).map((steps) => {
  let t = 0
  return steps.map(([gap, j]): readonly [number, Judgement] => [(t += gap), j])
})

test('raises and clears alternate, in time order, each run of violated samples before a raise being at least the on-delay long', () => {
  fc.assert(
    fc.property(samples, fc.integer({ min: 0, max: 120 }), fc.integer({ min: 0, max: 120 }), (s, onMs, offMs) => {
      const changes = run(s, { onMs, offMs })
      changes.forEach((c, i) => {
        expect(c.kind).toBe(i % 2 === 0 ? 'raise' : 'clear')
        const before = changes[i - 1]
        if (before) expect(c.atMs).toBeGreaterThanOrEqual(before.atMs)
        const [span, broken] = c.kind === 'raise' ? ([onMs, 'violated'] as const) : ([offMs, 'cleared'] as const)
        // Every sample within [due - delay, due] is of the run.
        for (const [t, j] of s) if (t >= c.atMs - span && t <= c.atMs) expect(j).toBe(broken)
        expect(s.some(([t]) => t === c.atMs - span)).toBe(true)
      })
    }),
  )
})

test('samples that repeat the last judgement change nothing but the time at which a change is noticed', () => {
  fc.assert(
    fc.property(samples, fc.array(fc.integer({ min: 1, max: 4000 }), { maxLength: 40 }), (s, extra) => {
      const times = new Set(s.map(([t]) => t))
      const doubled = [...s]
      for (const t of extra) {
        const last = s.filter(([at]) => at < t).at(-1)
        if (last && !times.has(t)) {
          times.add(t)
          doubled.push([t, last[1]])
        }
      }
      doubled.sort(([a], [b]) => a - b)
      const end = 5000
      const through = (list: readonly (readonly [number, Judgement])[]): Change[] => {
        let state: DelayState = NORMAL
        const out = list.flatMap(([t, j]) => {
          const step = stepDelay(state, j, t, d)
          state = step.state
          return step.changes
        })
        return [...out, ...elapse(state, end, d).changes]
      }
      expect(through(doubled)).toEqual(through(s))
    }),
  )
})
