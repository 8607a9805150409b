import fc from 'fast-check'
import { expect, test } from 'vitest'
import { StoreRefused, type Intake } from '../../gateway/intake/intake.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { bytes, count, fleet, intakeWith, message, NOW, PREFIX, yard } from './parts.ts'

const row = (t: number, signals: Readonly<Record<string, unknown>>): string => JSON.stringify({ t, signals })

test('a reading is in the store before anybody is told of it', () => {
  const order: string[] = []
  const history = { commit: (batch: readonly Reading[]) => (order.push(`stored ${batch.length}`), { stored: batch.length, duplicate: 0, conflict: 0 }) }
  const { intake } = intakeWith({ history, onReadings: (r) => void order.push(`told ${r.length}`) })
  intake.take(message('ostrand', row(NOW, { 'tu.do': 7.2, 'tu.ph': 7.1 })))
  expect(order).toEqual(['stored 2', 'told 2'])
})

test('one message is one commit, however many readings it holds', () => {
  const { intake, history } = intakeWith()
  intake.take(message('ostrand', JSON.stringify({ names: ['tu.do', 'tu.ph'], rows: [0, 1, 2, 3].map((i) => [NOW - (3 - i) * 30_000, 7, 7 + i]) })))
  expect(history.commits).toBe(1)
  expect(history.stored).toHaveLength(8)
})

test('a message with some bad signals stores the good ones, and each bad one is counted with its reason', () => {
  const { intake, told } = intakeWith()
  intake.take(message('ostrand', row(NOW, { 'tu.do': 7.2, 'tu.ph': 'high', 'bio1.do': [], 'tu.h2s': 3, 'finished.level': true, 'sump.high': true })))
  expect(told.map((r) => [r.key, r.value])).toEqual([
    ['ostrand/tu.do', 7.2],
    ['ostrand/sump.high', 1],
  ])
  expect(intake.quarantine().rejected).toEqual({ NOT_A_NUMBER: 2, SHAPE: 1, UNKNOWN_SIGNAL: 1 })
  expect([count(intake, 'readingsIn'), count(intake, 'readingsStored'), count(intake, 'readingsRejected'), count(intake, 'intakeRefused')]).toEqual([6, 2, 4, 0])
})

test('a store that refuses makes take throw, and afterwards nothing has happened: the same message is still news', () => {
  const { intake, history, told } = intakeWith()
  const m = message('ostrand', row(NOW, { 'tu.do': 7.2, 'tu.ph': 'high' }))
  history.refuses = true
  expect(() => intake.take(m)).toThrow(StoreRefused)
  expect(() => intake.take(m)).toThrow('history cannot take 1 readings: disk full')
  expect(told).toEqual([])
  expect(intake.quarantine().rejected).toEqual({})
  expect([count(intake, 'intakeHeld'), count(intake, 'readingsIn')]).toEqual([2, 0])
  expect(intake.troubles()[0]).toContain('takes no readings since')
  history.refuses = false
  intake.take(m)
  expect(told).toMatchObject([{ key: 'ostrand/tu.do', live: true }])
  expect(intake.troubles()).toEqual([])
})

test('a bad message is finished with even while the store refuses', () => {
  const { intake, history } = intakeWith()
  history.refuses = true
  intake.take(message('ostrand', 'not json'))
  intake.take(message('ostrand', row(NOW, {})))
  intake.take(message('nobody', '7.2'))
  expect(count(intake, 'intakeHeld')).toBe(0)
})

test('the same message twice is stored once and told once', () => {
  const { intake, history, told } = intakeWith()
  const m = message('ostrand', JSON.stringify({ rows: [0, 1, 2].map((i) => ({ t: NOW - (2 - i) * 60_000, signals: { 'tu.do': i, 'tu.ph': 7 } })) }))
  intake.take(m)
  intake.take(m)
  expect(history.stored).toHaveLength(6)
  expect(told).toHaveLength(6)
  expect([count(intake, 'readingsIn'), count(intake, 'readingsStored'), count(intake, 'readingsDuplicate')]).toEqual([12, 6, 6])
})

test('the same signal and time with another value is a conflict: the first stays, nobody is told of the second', () => {
  const { intake, history, told } = intakeWith()
  intake.take(message('ostrand/tu.do', `{"v":7.2,"t":${NOW}}`))
  intake.take(message('ostrand/tu.do', `{"v":7.3,"t":${NOW}}`))
  expect(history.stored.map((r) => r.value)).toEqual([7.2])
  expect(told.map((r) => r.value)).toEqual([7.2])
  expect(count(intake, 'readingsConflict')).toBe(1)
})

test('rows sent newest first are judged oldest first, all of them live', () => {
  const { intake, told } = intakeWith()
  intake.take(message('ostrand', JSON.stringify({ names: ['tu.do'], rows: [2, 1, 0].map((i) => [NOW - (2 - i) * 60_000, i]) })))
  expect(told.map((r) => [r.value, r.live])).toEqual([
    [0, true],
    [1, true],
    [2, true],
  ])
})

test('of a four-hour burst after a dead link only the rows of the last minutes are live, and all are stored', () => {
  const { intake, history, told } = intakeWith()
  intake.take(message('ostrand', JSON.stringify({ names: ['tu.do'], rows: Array.from({ length: 241 }, (_, i) => [NOW - (240 - i) * 60_000, 5 + (i % 7)]) })))
  expect(history.stored).toHaveLength(241)
  expect(told.filter((r) => r.live).map((r) => (NOW - r.sourceMs) / 60_000)).toEqual([3, 2, 1, 0])
})

test('after a restart what the history already holds is no news', () => {
  const { intake, told } = intakeWith({ seed: (key) => (key === 'ostrand/tu.do' ? { newestMs: NOW } : undefined) })
  intake.take(message('ostrand/tu.do', `{"v":7.2,"t":${NOW}}`))
  intake.take(message('ostrand/tu.do', `{"v":7.2,"t":${NOW + 1000}}`, { receivedMs: NOW + 1000 }))
  intake.take(message('ostrand/tu.ph', `{"v":7.2,"t":${NOW}}`))
  expect(told.map((r) => [r.key, r.sourceMs - NOW, r.live])).toEqual([
    ['ostrand/tu.do', 0, false],
    ['ostrand/tu.do', 1000, true],
    ['ostrand/tu.ph', 0, true],
  ])
})

test('a retained value is stored, told as not live, and does not count as having heard the site', () => {
  const { intake, told } = intakeWith()
  intake.take(message('ostrand/tu.do', `{"v":7.2,"t":${NOW - 1000}}`, { retained: true }))
  expect(told).toMatchObject([{ live: false }])
  expect(intake.traffic()[0]).toMatchObject({ site: 'ostrand', heardMs: null, messages: 1, bytes: 'loopkeeper/v1/ostrand/tu.do'.length + '{"v":7.2,"t":1772438399000}'.length })
})

test('the live copy of a value that came retained first is judged once, though the store knew it already', () => {
  const { intake, told } = intakeWith()
  const payload = `{"v":7.2,"t":${NOW - 1000}}`
  intake.take(message('ostrand/tu.do', payload, { retained: true }))
  intake.take(message('ostrand/tu.do', payload))
  intake.take(message('ostrand/tu.do', payload))
  expect(told.map((r) => r.live)).toEqual([false, true])
  expect([count(intake, 'readingsStored'), count(intake, 'readingsDuplicate')]).toEqual([1, 2])
})

test('a site is heard by any message of its own, a bad one and a held one included, and by none of another site', () => {
  const heard: string[] = []
  const { intake, history } = intakeWith({ onHeard: (site, atMs) => void heard.push(`${site} ${atMs - NOW}`) })
  intake.take(message('ostrand', 'not json', { receivedMs: NOW + 1 }))
  intake.take(message('ostrand', row(NOW, {}), { receivedMs: NOW + 2 }))
  history.refuses = true
  expect(() => intake.take(message('ostrand/tu.do', '1', { receivedMs: NOW + 3 }))).toThrow(StoreRefused)
  intake.take(message('kestrow/tu.do', '1', { receivedMs: NOW + 4, site: 'ostrand' }))
  intake.take(message('unknown/tu.do', '1', { receivedMs: NOW + 5 }))
  expect(heard).toEqual(['ostrand 1', 'ostrand 2', 'ostrand 3'])
  expect(intake.traffic().map((t) => [t.site, t.heardMs])).toEqual([
    ['ostrand', NOW + 3],
    ['kestrow', null],
  ])
})

test('an unknown signal of a known site is listed with its last figure', () => {
  const { intake } = intakeWith()
  intake.take(message('ostrand/tu.h2s', '3', { receivedMs: NOW }))
  intake.take(message('ostrand', row(NOW, { 'tu.h2s': { v: 4, q: 'good' } }), { receivedMs: NOW + 60_000 }))
  expect(intake.unassigned()).toEqual([
    {
      site: 'ostrand',
      signal: 'tu.h2s',
      count: 2,
      firstMs: NOW,
      lastMs: NOW + 60_000,
      lastValue: 4,
      perMin: 1,
      guess: { quantity: 'h2s', unit: '[ppm]', because: 'its id ends in "h2s"' },
      from: null,
    },
  ])
})

test('a part behind intake that fails does not keep the message from being taken, and is told as a trouble', () => {
  const { intake, history } = intakeWith({
    onReadings: () => {
      throw new Error('rule without a limit')
    },
    onHeard: () => {
      throw new Error('page gone')
    },
  })
  intake.take(message('ostrand/tu.do', '7.2'))
  expect(history.stored).toHaveLength(1)
  expect(count(intake, 'listenerFailed')).toBe(2)
  expect(intake.troubles().join()).toContain('rule without a limit')
})

test('site files read again bring new signals, drop old ones and sites, and forget nothing of those that stay', () => {
  let sites: ReadonlyMap<string, Site> = fleet('ostrand', 'kestrow')
  const { intake, told } = intakeWith({ sites: () => sites })
  intake.take(message('ostrand/tu.do', `{"v":7.2,"t":${NOW}}`))
  sites = new Map([['ostrand', yard('ostrand', '  tu.h2s:\n')]])
  intake.take(message('ostrand/tu.do', `{"v":7.2,"t":${NOW}}`))
  intake.take(message('ostrand/tu.h2s', '1'))
  intake.take(message('kestrow/tu.do', '1'))
  expect(told.map((r) => r.key)).toEqual(['ostrand/tu.do', 'ostrand/tu.h2s'])
  expect(intake.quarantine().rejected).toEqual({ UNKNOWN_SITE: 1 })
  expect(intake.traffic()).toMatchObject([{ site: 'ostrand', messages: 3 }])
})

test('senders without a clock that come back in a burst lose nothing: every message keeps a time of its own', () => {
  const { intake, history } = intakeWith()
  for (let i = 0; i < 100; i++) intake.take(message('ostrand/tu.do', String(i / 10)))
  expect(history.stored).toHaveLength(100)
  expect(history.stored.map((r) => r.value)).toEqual(Array.from({ length: 100 }, (_, i) => i / 10))
  expect(new Set(history.stored.map((r) => r.sourceMs)).size).toBe(100)
})

/** The two sums of intake.ts. */
function sums(intake: Intake): void {
  const of = (name: string): number => count(intake, name)
  expect(of('intakeMessages')).toBe(of('intakeAccepted') + of('intakeRefused') + of('intakeHeld'))
  expect(of('readingsIn')).toBe(of('readingsStored') + of('readingsDuplicate') + of('readingsConflict') + of('readingsRejected'))
  const rejected = Object.values(intake.quarantine().rejected).reduce((a, b) => a + b, 0)
  expect(rejected).toBe(of('intakeRefused') + of('readingsRejected'))
}

const signal = fc.constantFrom('tu.do', 'tu.ph', 'sump.high', 'blower.starts', 'tu.h2s', '__proto__', '')
const time = fc.oneof(
  fc.integer({ min: -20, max: 20 }).map((i) => NOW + i * 10_000),
  fc.constant(null),
  fc.constantFrom('2026-03-02T08:00:00Z', '2026-03-02T08:00:60Z', 'x', 1e300, -1, NOW * 1000, Date.UTC(2000, 0, 1)),
)
const figure = fc.oneof(fc.integer({ min: -2, max: 3 }), fc.double(), fc.boolean(), fc.constantFrom(null, 'NaN', {}, [], { v: 1, q: 'bad' }, { v: 'x' }, { v: 2, q: 'odd' }))
const signals = fc.dictionary(signal, figure, { maxKeys: 5 })
const rowOf = fc.oneof(fc.record({ t: time, signals }), fc.constantFrom('x', 7, null, { t: NOW }))
const sitePayload = fc.oneof(
  fc.record({ t: time, signals }),
  fc.record({ rows: fc.array(rowOf, { maxLength: 6 }) }),
  fc.record({ names: fc.uniqueArray(signal, { maxLength: 3 }), rows: fc.array(fc.tuple(time, figure, figure), { maxLength: 5 }) }),
)
const plausible = fc
  .tuple(fc.constantFrom('ostrand', 'kestrow', 'ostrand/tu.do', 'ostrand/sump.high', 'nobody', 'ostrand/a/b'), fc.oneof(sitePayload, fc.record({ v: figure, t: time }), figure))
  .map(([topic, value]) => ({ topic: `${PREFIX}/${topic}`, payload: bytes(JSON.stringify(value)) }))
const anything = fc
  .tuple(
    fc.oneof(
      fc.string(),
      fc.string().map((s) => `${PREFIX}/${s}`),
    ),
    fc.uint8Array({ maxLength: 64 }),
  )
  .map(([topic, payload]) => ({ topic, payload }))

test('any bytes on any topic: nothing is thrown while the store takes readings, and the totals add up exactly', () => {
  const step = fc.record({
    m: fc.oneof({ weight: 3, arbitrary: plausible }, anything),
    retained: fc.boolean(),
    site: fc.constantFrom(null, null, 'ostrand', 'kestrow'),
    laterMs: fc.integer({ min: 0, max: 90_000 }),
  })
  fc.assert(
    fc.property(fc.array(step, { maxLength: 25 }), (steps) => {
      const { intake, history, told } = intakeWith()
      let receivedMs = NOW
      for (const s of steps) {
        receivedMs += s.laterMs
        intake.take({ ...s.m, receivedMs, retained: s.retained, site: s.site, broker: 'test' })
      }
      sums(intake)
      expect(count(intake, 'intakeMessages')).toBe(steps.length)
      expect(count(intake, 'readingsStored')).toBe(history.stored.length)
      for (const r of told.filter((x) => x.live)) expect(history.timesStored(r.key, r.sourceMs)).toBe(1)
      // Live readings of one signal only ever go forward.
      const newest = new Map<string, number>()
      for (const r of told.filter((x) => x.live)) {
        expect(r.sourceMs).toBeGreaterThan(newest.get(r.key) ?? 0)
        newest.set(r.key, r.sourceMs)
      }
    }),
    { numRuns: 1500 },
  )
})

test('whenever the store refuses and however often, resending what was held ends in the same history, totals and news', () => {
  const steps = fc.array(fc.record({ m: plausible, refusals: fc.integer({ min: 0, max: 2 }) }), { maxLength: 20 })
  fc.assert(
    fc.property(steps, (list) => {
      const calm = intakeWith()
      const troubled = intakeWith()
      for (const { m, refusals } of list) {
        const sent = { ...m, receivedMs: NOW, retained: false, site: null, broker: 'test' }
        calm.intake.take(sent)
        for (let i = 0; i < refusals; i++) {
          troubled.history.refuses = true
          try {
            troubled.intake.take(sent)
            // Taken although the store refuses: then there was nothing to store, and it does not come again.
            break
          } catch (e) {
            expect(e).toBeInstanceOf(StoreRefused)
          } finally {
            troubled.history.refuses = false
          }
          if (i === refusals - 1) troubled.intake.take(sent)
        }
        if (refusals === 0) troubled.intake.take(sent)
      }
      sums(troubled.intake)
      expect(troubled.history.stored).toEqual(calm.history.stored)
      expect(troubled.told).toEqual(calm.told)
      expect(troubled.intake.quarantine()).toEqual(calm.intake.quarantine())
    }),
    { numRuns: 500 },
  )
})
