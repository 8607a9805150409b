import { readFileSync } from 'node:fs'
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { z } from 'zod'
import type { AlarmEvent, AlarmState } from '../../gateway/alarms/alarm.ts'
import { applyEvent, BORN, rebuild, type Life } from '../../gateway/alarms/life.ts'
import { transition } from '../../gateway/alarms/lifecycle.ts'
import type { LifeFacts, LifeInput } from '../../gateway/alarms/life-input.ts'

const ALARM = 'gravel-yard-2/tu.do.low'
const facts: LifeFacts = { alarm: ALARM, latching: false, answerRequired: true, defVersion: 3 }
const latching: LifeFacts = { ...facts, latching: true }
const OCC = `${ALARM}@1000-7`

const standing = (state: AlarmState): Life =>
  state === 'normal'
    ? { ...BORN, version: 20, count: 7 }
    : {
        ...BORN,
        state,
        occurrence: OCC,
        version: 20,
        count: 7,
        raisedMs: 1000,
        value: 1.4,
        limit: 2,
        unit: 'mg/L',
        ...(state.endsWith('knowledged') && state !== 'unacknowledged' && !state.includes('-un')
          ? { acknowledgedBy: 'J. Orme', acknowledgedMs: 1500, acknowledgedOccurrence: OCC }
          : {}),
      }

const input = {
  raise: { kind: 'raise', atMs: 2000, value: 1.9, limit: 2, unit: 'mg/L' },
  clear: { kind: 'clear', atMs: 2000, value: 2.4 },
  acknowledge: { kind: 'acknowledge', atMs: 2000, occurrence: OCC, version: null, by: 'A. Reyes', note: null },
  reset: { kind: 'reset', atMs: 2000, occurrence: OCC, version: null, by: 'A. Reyes', note: null },
  're-alarm': { kind: 're-alarm', atMs: 2000 },
  hold: { kind: 'hold', atMs: 2000 },
  release: { kind: 'release', atMs: 2000 },
  close: { kind: 'close', atMs: 2000, note: 'gone' },
} as const satisfies Record<string, LifeInput>

const STATES: readonly AlarmState[] = ['normal', 'unacknowledged', 'acknowledged', 'returned', 'latched-unacknowledged', 'latched-acknowledged']
const matrix = z
  .object({ states: z.record(z.string(), z.record(z.string(), z.string().or(z.tuple([z.string(), z.string()])))) })
  .parse(JSON.parse(readFileSync(new URL('../published/alarm-matrix.json', import.meta.url), 'utf8'))).states

const cells = Object.entries(matrix).flatMap(([from, row]) =>
  Object.entries(row).flatMap(([kind, to]) =>
    (['not latching', 'latching'] as const).map((mode, i) => ({ from: from as AlarmState, kind, mode, to: typeof to === 'string' ? to : (to[i] ?? '') })),
  ),
)

test('the printed matrix covers every base state and all five of its events', () => {
  expect(Object.keys(matrix).toSorted()).toEqual(STATES.toSorted())
  expect(cells).toHaveLength(6 * 5 * 2)
})

test.each(cells)('ALM-S/T $from, $kind, $mode: $to', ({ from, kind, mode, to }) => {
  const life = standing(from)
  const r = transition(life, input[kind as keyof typeof input], mode === 'latching' ? latching : facts, 2500)
  if (to === '=' || to === '=200') {
    expect(r).toEqual({ life, events: [], refused: null })
  } else if (to === '409') {
    expect(r).toMatchObject({ life, events: [], refused: { code: 'stale-occurrence' } })
  } else if (to === 'rej') {
    expect(r).toMatchObject({ life, events: [], refused: { code: 'not-allowed' } })
  } else {
    expect(r.refused).toBeNull()
    expect(r.life.state).toBe(to)
    expect(r.life.version).toBe(life.version + r.events.length)
    expect(r.events.at(-1)?.state).toBe(to)
  }
})

test('holding, releasing and closing never change what state an alarm that stands is in, except that closing ends it', () => {
  for (const state of STATES) {
    const life = standing(state)
    const held = transition(life, input.hold, facts, 2500)
    expect(held.life.state).toBe(state)
    expect(held.events.map((e) => e.kind)).toEqual(state === 'normal' ? [] : ['held'])
    expect(transition(held.life, input.hold, facts, 2500).events).toEqual([])
    const released = transition(held.life, input.release, facts, 2600)
    expect(released.life.heldSinceMs).toBeNull()
    expect(released.events.map((e) => e.kind)).toEqual(state === 'normal' ? [] : ['released'])
    const closed = transition(life, input.close, facts, 2500)
    expect(closed.life.state).toBe('normal')
    expect(closed.events.map((e) => [e.kind, e.note])).toEqual(state === 'normal' ? [] : [['closed', 'gone']])
  }
})

test('ALM-T01 a raise names a new occurrence and records value, limit and unit of the moment', () => {
  const r = transition(standing('normal'), input.raise, facts, 2500)
  expect(r.events).toEqual([
    {
      alarm: ALARM,
      occurrence: `${ALARM}@2000-8`,
      kind: 'raised',
      atMs: 2000,
      recordedMs: 2500,
      state: 'unacknowledged',
      value: 1.9,
      limit: 2,
      unit: 'mg/L',
      by: null,
      note: null,
      defVersion: 3,
    },
  ])
  expect(r.life).toMatchObject({ count: 8, raisedMs: 2000, clearedMs: null, acknowledgedBy: null })
})

test.each(['returned', 'latched-unacknowledged', 'latched-acknowledged'] as const)(
  'ALM-T06/T12/T13 raised again from %s: the old occurrence is closed, a new one counted',
  (state) => {
    const r = transition(standing(state), input.raise, state === 'returned' ? facts : latching, 2500)
    expect(r.events.map((e) => [e.kind, e.occurrence, e.state])).toEqual([
      ['closed', OCC, 'normal'],
      ['raised', `${ALARM}@2000-8`, 'unacknowledged'],
    ])
  },
)

test('ALM-T07 a re-alarm keeps the occurrence, takes the answer back and counts nothing', () => {
  const r = transition(standing('acknowledged'), input['re-alarm'], facts, 2500)
  expect(r.life).toMatchObject({ state: 'unacknowledged', occurrence: OCC, count: 7, raisedMs: 1000, acknowledgedBy: null })
})

test('ALM-T29 an answer to an old or unknown occurrence changes nothing and says which one stands now', () => {
  for (const state of STATES.filter((s) => s !== 'normal')) {
    for (const kind of ['acknowledge', 'reset'] as const) {
      if (kind === 'reset' && state === 'returned') continue
      const r = transition(standing(state), { ...input[kind], occurrence: `${ALARM}@500-6` }, latching, 2500)
      expect(r.events).toEqual([])
      expect(r.refused).toMatchObject({ code: 'stale-occurrence', message: expect.stringContaining(OCC) })
    }
  }
})

test('ALM-T29 the same answer twice is answered as done twice, also when the first one closed the alarm', () => {
  const first = transition(standing('returned'), { ...input.acknowledge, version: 20 }, facts, 2500)
  expect(first.life.state).toBe('normal')
  expect(transition(first.life, { ...input.acknowledge, version: 20 }, facts, 2600)).toEqual({ life: first.life, events: [], refused: null })
})

test('an answer to a closed occurrence is not taken for the newer one that stands', () => {
  const first = transition(standing('returned'), input.acknowledge, facts, 2500)
  const again = transition(first.life, { ...input.raise, atMs: 3000 }, facts, 3000)
  expect(transition(again.life, input.acknowledge, facts, 3100).refused?.code).toBe('stale-occurrence')
})

test('ALM-22 an action that names an older version than the one that stands is refused', () => {
  const r = transition(standing('unacknowledged'), { ...input.acknowledge, version: 19 }, facts, 2500)
  expect(r.refused).toMatchObject({ code: 'stale-version', message: expect.stringContaining('version 19, now 20') })
  expect(transition(standing('unacknowledged'), { ...input.acknowledge, version: 20 }, facts, 2500).life.state).toBe('acknowledged')
})

test('ALM-T32 an alert is shown steady from the start, asks for no answer and ends with its condition', () => {
  const alert: LifeFacts = { ...facts, answerRequired: false }
  const raised = transition(standing('normal'), input.raise, alert, 2500)
  expect(raised.life.state).toBe('acknowledged')
  expect(transition(raised.life, input['re-alarm'], alert, 2600).events).toEqual([])
  expect(transition(raised.life, { ...input.clear, atMs: 2600 }, alert, 2600).life.state).toBe('normal')
})

test('a clear that is judged late never ends an occurrence before it began', () => {
  expect(transition(standing('unacknowledged'), { ...input.clear, atMs: 400 }, facts, 2500).events[0]?.atMs).toBe(1000)
})

const anyInput = fc.oneof(
  fc.constantFrom<LifeInput>(input.raise, input.clear, input['re-alarm'], input.hold, input.release, input.close),
  fc.record({
    kind: fc.constantFrom('acknowledge' as const, 'reset' as const),
    atMs: fc.constant(2000),
    occurrence: fc.constantFrom('current', 'old'),
    version: fc.constantFrom(null, 1),
    by: fc.constant('J. Orme'),
    note: fc.constantFrom(null, 'seen'),
  }),
)

test('whatever happens, the events alone rebuild the same life, versions count events, and no occurrence is ever reused', () => {
  fc.assert(
    fc.property(fc.array(anyInput, { maxLength: 60 }), fc.boolean(), fc.boolean(), (inputs, latch, answer) => {
      let life = BORN
      const all: AlarmEvent[] = []
      for (const i of inputs) {
        const real = 'occurrence' in i && i.occurrence === 'current' ? { ...i, occurrence: life.occurrence ?? 'none' } : i
        const r = transition(life, real, { ...facts, latching: latch, answerRequired: answer }, 5)
        if (r.refused) expect(r.events).toEqual([])
        if (r.events.length === 0) expect(r.life).toBe(life)
        life = r.life
        all.push(...r.events)
      }
      expect(rebuild(all).get(ALARM) ?? BORN).toEqual(life)
      expect(life.version).toBe(all.length)
      const born = all.filter((e) => e.kind === 'raised' && e.note === null).map((e) => e.occurrence)
      expect(new Set(born).size).toBe(born.length)
      expect(life.count).toBe(born.length)
      expect(life.occurrence === null).toBe(life.state === 'normal')
      if (!latch) expect(life.state).not.toMatch(/^latched/)
    }),
  )
})

test('an event applied to any life raises its version by one', () => {
  const raised = transition(BORN, input.raise, facts, 1).events[0]
  expect(raised && applyEvent(standing('returned'), raised).version).toBe(21)
})
