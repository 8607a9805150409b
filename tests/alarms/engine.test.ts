import fc from 'fast-check'
import { expect, test } from 'vitest'
import { catchUp, onReadings, onTick } from '../../gateway/alarms/engine.ts'
import { act } from '../../gateway/alarms/living.ts'
import { createEngine, type Told } from '../../gateway/alarms/engine-state.ts'
import { SITE, def, handClock, limitDef, loop, reading } from './yard.ts'
import { watch } from './watch.ts'

const MIN = 60_000
const high = (onS: number, offS: number, more = {}) => limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: onS * 1000, offDelayMs: offS * 1000 }, more)
const wet = (onS: number, offS: number) => def({ kind: 'state', signal: 'sump.high-high', value: 1, onDelayMs: onS * 1000, offDelayMs: offS * 1000 })

test('an occurrence is named by alarm, time of raise and count, and carries value, limit, unit and version of the definition', () => {
  const w = watch([high(0, 0, { version: 4 })])
  w.row({ 'tu.ph': 9.4 })
  expect(w.told[0]?.event).toMatchObject({
    alarm: `${SITE}/tu.ph.test`,
    occurrence: `${SITE}/tu.ph.test@${w.t0}-1`,
    value: 9.4,
    limit: 9,
    unit: '[pH]',
    state: 'unacknowledged',
    defVersion: 4,
  })
})

test('late and retained readings neither raise nor clear, and are counted', () => {
  const w = watch([high(0, 0)])
  w.take(reading('tu.ph', 12, w.t0, { live: false }))
  expect(w.news()).toEqual([])
  w.row({ 'tu.ph': 9.5 })
  w.clock.advance(30_000)
  w.take(reading('tu.ph', 7, w.clock.nowMs(), { live: false }))
  expect(w.news()).toEqual(['raised tu.ph.test @0'])
  expect(w.engine.passedOver).toBe(2)
})

test('an uncertain reading raises and clears like a good one: doubt must not silence a stuck acid pump', () => {
  const w = watch([high(0, 0)])
  w.take(reading('tu.ph', 9.5, w.t0, { quality: 'uncertain', sub: 'qc_suspect', qc: 3 }))
  w.clock.advance(30_000)
  w.take(reading('tu.ph', 7, w.clock.nowMs(), { quality: 'uncertain', sub: 'not_accurate', qc: 3 }))
  expect(w.news()).toEqual(['raised tu.ph.test @0', 'cleared tu.ph.test @30'])
})

test.each([
  ['bad', 'sensor_failure'],
  ['bad', 'not_connected'],
  ['bad', 'device_failure'],
  ['bad', 'no_comm'],
] as const)('ALM-T31 a %s reading (%s) holds a standing alarm and marks it, and the next usable one lets it go', (quality, sub) => {
  const w = watch([high(0, 0)])
  w.row({ 'tu.ph': 9.5 })
  w.clock.advance(30_000)
  w.take(reading('tu.ph', null, w.clock.nowMs(), { quality, sub }))
  expect(w.view('tu.ph.test')).toMatchObject({ state: 'unacknowledged', heldSinceMs: w.t0 + 30_000 })
  w.clock.advance(30_000)
  w.row({ 'tu.ph': 7 })
  expect(w.news()).toEqual(['raised tu.ph.test @0', 'held tu.ph.test @30', 'released tu.ph.test @60', 'cleared tu.ph.test @60'])
  expect(w.view('tu.ph.test').heldSinceMs).toBeNull()
})

test('a value that only stands in for one that did not come is held like a bad one', () => {
  const w = watch([high(0, 0)])
  w.take(reading('tu.ph', 9.9, w.t0, { quality: 'uncertain', sub: 'last_usable' }))
  expect(w.news()).toEqual([])
  expect(w.view('tu.ph.test').heldSinceMs).toBe(w.t0)
})

test('a normal alarm whose instrument fails shows since when, without an entry in the journal', () => {
  const w = watch([high(0, 0)])
  w.row({ 'tu.ph': 7 })
  w.clock.advance(30_000)
  w.row({ 'tu.ph': null })
  expect(w.news()).toEqual([])
  expect(w.view('tu.ph.test')).toMatchObject({ state: 'normal', heldSinceMs: w.t0 + 30_000 })
})

test('ALM-T31 while the input is bad a running on-delay stands still, and goes on afterwards', () => {
  const w = watch([high(120, 0)])
  for (const v of [9.5, 9.5, null, null, 9.5, 9.5, 9.5]) {
    w.row({ 'tu.ph': v })
    w.clock.advance(30_000)
  }
  // Violated 0-60, bad 60-120: due at 180 instead of 120.
  expect(w.news()).toEqual(['raised tu.ph.test @180'])
})

test('a signal that is silent for three reports + 10 s holds from that moment, and a raise due after it does not come', () => {
  const w = watch([high(300, 0), wet(0, 0)])
  w.row({ 'tu.ph': 9.5, 'sump.high-high': 1 })
  w.wait(100)
  expect(w.news()).toEqual([`raised sump.high-high.test @0`])
  // A report that left in time may be under way for 10 s more: told later, but counted from the same moment.
  w.wait(10)
  expect(w.news()).toEqual([])
  w.wait(1)
  expect(w.news()).toEqual(['held sump.high-high.test @100'])
  w.wait(100_000)
  expect(w.news()).toEqual([])
  expect(w.view('tu.ph.test')).toMatchObject({ state: 'normal', heldSinceMs: w.t0 + 100_000 })
})

test('the time in which nothing was heard does not count as part of a run', () => {
  const w = watch([high(300, 0)])
  w.row({ 'tu.ph': 9.5 })
  w.clock.advance(3_600_000)
  w.row({ 'tu.ph': 9.5 })
  expect(w.news()).toEqual([])
  // 100 s had run when the signal went stale, so 200 s are left.
  for (let i = 0; i < 10; i++) {
    w.clock.advance(30_000)
    w.row({ 'tu.ph': 9.5 })
  }
  expect(w.news()).toEqual(['raised tu.ph.test @3800'])
})

test('a contact raises when its delay is over although no further reading comes, and carries the due time', () => {
  const w = watch([wet(60, 0)])
  w.row({ 'sump.high-high': 1 })
  w.wait(69)
  expect(w.news()).toEqual([])
  w.wait(1)
  expect(w.news()).toEqual(['raised sump.high-high.test @60'])
  expect(w.told[0]?.event.recordedMs).toBe(w.t0 + 70_000)
})

test('a measured value waits for the report that could contradict it, and raises once that report is overdue', () => {
  const site = loop((t) => t.replace('  tu.ph:\n', '  tu.ph: { sampleEvery: 30s, reportEvery: 5min }\n'))
  const w = watch([high(60, 0)], { site })
  w.row({ 'tu.ph': 9.5 })
  w.wait(309)
  expect(w.news()).toEqual([])
  w.wait(1)
  expect(w.news()).toEqual(['raised tu.ph.test @60'])
})

test('the block that arrives in time decides on its own rows: a run that ended inside it never raises', () => {
  const site = loop((t) => t.replace('  tu.ph:\n', '  tu.ph: { sampleEvery: 30s, reportEvery: 5min }\n'))
  const w = watch([high(90, 0)], { site })
  w.row({ 'tu.ph': 9.5 })
  w.wait(300)
  w.take(...[30, 60, 90, 120].map((s) => reading('tu.ph', s < 90 ? 9.5 : 8, w.t0 + s * 1000)))
  w.wait(60)
  expect(w.news()).toEqual([])
})

test('a clear happens on its own time too when nothing more is heard', () => {
  const w = watch([wet(0, 60)])
  w.row({ 'sump.high-high': 1 })
  w.wait(20)
  w.row({ 'sump.high-high': 0 })
  w.wait(70)
  expect(w.news()).toEqual(['raised sump.high-high.test @0', 'cleared sump.high-high.test @80'])
})

test('DQ-28 a wall clock that is set forward by an hour fires no delay, and one set back starves none', () => {
  const w = watch([wet(60, 0)])
  w.row({ 'sump.high-high': 1 })
  w.clock.setWall(w.t0 + 3_600_000)
  w.tick()
  expect(w.news()).toEqual([])
  w.clock.setWall(w.t0 - 3_600_000)
  w.wait(70)
  expect(w.news()).toEqual(['raised sump.high-high.test @60'])
})

test('instrument clocks that run an hour behind ours are no obstacle: delays count on their time', () => {
  const w = watch([wet(60, 0)])
  w.take(reading('sump.high-high', 1, w.t0 - 3_600_000))
  w.wait(70)
  expect(w.news()).toEqual(['raised sump.high-high.test @-3540'])
})

test('all values of one row are taken in before any rule looks at one of them', () => {
  const gated = limitDef('tu.ph', { side: 'low', limit: 5.5, deadband: 0.2, onDelayMs: 0, offDelayMs: 0, when: { signal: 'acid.run' } })
  const w = watch([gated])
  w.row({ 'tu.ph': 7, 'acid.run': 1 })
  w.clock.advance(30_000)
  // In this row pH comes first and the pump stops last: judged one by one it would have raised.
  w.row({ 'tu.ph': 5, 'acid.run': 0 })
  expect(w.news()).toEqual([])
})

test('a rule over two signals does not lean on one that has long been silent', () => {
  const w = watch([limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0, onDelayMs: 0, offDelayMs: 0, when: { signal: 'acid.run' } })])
  w.row({ 'tu.ph': 9.5, 'acid.run': 0 })
  w.clock.advance(200_000)
  w.row({ 'acid.run': 1 })
  expect(w.news()).toEqual([])
  expect(w.view('tu.ph.test').heldSinceMs).toBe(w.t0 + 100_000)
})

test('a definition that names what the site does not have is told in a sentence, and the others are watched', () => {
  const engine = createEngine(
    [
      high(0, 0),
      limitDef('nowhere.do', { side: 'low', limit: 1, deadband: 0, onDelayMs: 0, offDelayMs: 0 }),
      def({ kind: 'silent', afterMs: MIN }, { site: 'elsewhere', id: 'elsewhere/site.silent' }),
      high(0, 0),
    ],
    [loop()],
    { nowMs: 0, steadyMs: 0 },
  )
  expect([...engine.runs.keys()]).toEqual([`${SITE}/tu.ph.test`])
  expect(engine.faults).toEqual([
    `${SITE}/nowhere.do.test: a signal its rule needs is none of ${SITE}'s, so this alarm is not watched`,
    'elsewhere/site.silent: no site "elsewhere" is loaded, so this alarm is not watched',
    `${SITE}/tu.ph.test: defined twice, the second one is not watched`,
  ])
})

test('a standing occurrence goes on standing after a restart and is not raised again by the value that still violates', () => {
  const w = watch([high(60, 0)])
  w.row({ 'tu.ph': 9.5 })
  w.wait(30)
  w.row({ 'tu.ph': 9.5 })
  w.wait(30)
  w.row({ 'tu.ph': 9.5 })
  expect(w.news()).toEqual(['raised tu.ph.test @60'])
  const lives = new Map([...w.engine.runs].map(([id, run]) => [id, run.life]))
  const again = watch([high(60, 0)], { lives })
  again.row({ 'tu.ph': 9.6 })
  again.wait(120)
  expect(again.news().filter((n) => !n.startsWith('held'))).toEqual([])
  again.row({ 'tu.ph': 8 })
  expect(again.news().at(-1)).toMatch(/^cleared/)
})

test('what was held before a restart is released by the first usable value after it', () => {
  const w = watch([high(0, 0)])
  w.row({ 'tu.ph': 9.5 })
  w.clock.advance(30_000)
  w.row({ 'tu.ph': null })
  const lives = new Map([...w.engine.runs].map(([id, run]) => [id, run.life]))
  const again = watch([high(0, 0)], { lives, startMs: w.clock.nowMs() })
  again.row({ 'tu.ph': null })
  expect(again.news()).toEqual([])
  again.clock.advance(30_000)
  again.row({ 'tu.ph': 9.5 })
  expect(again.news()).toEqual(['released tu.ph.test @30'])
})

test('an instrument whose clock runs an hour behind ours is judged on its own time, also when it was long awaited', () => {
  const w = watch([high(60, 0)])
  w.wait(300)
  expect(w.view('tu.ph.test').heldSinceMs).not.toBeNull()
  for (let i = 0; i < 4; i++) {
    w.take(reading('tu.ph', 9.5, w.clock.nowMs() - 3_600_000))
    w.wait(30)
  }
  expect(w.news()).toEqual(['raised tu.ph.test @-3240'])
})

test('two instruments of one loop with clocks an hour apart: a rule over both keeps the time of the one it rests on', () => {
  const w = watch([limitDef('tu.ph', { side: 'low', limit: 5.5, deadband: 0.2, onDelayMs: 120_000, offDelayMs: 0, when: { signal: 'acid.run' } })])
  for (let i = 0; i < 6; i++) {
    w.take(reading('tu.ph', 5, w.clock.nowMs()))
    w.take(reading('acid.run', 1, w.clock.nowMs() + 3_600_000))
    w.wait(30)
  }
  expect(w.news()).toEqual(['raised tu.ph.test @120'])
  expect(w.view('tu.ph.test').heldSinceMs).toBeNull()
})

test('ALM-T33 a low alarm that has returned and that nobody has answered is closed after 24 h; a medium one waits for a person', () => {
  const w = watch([high(0, 0, { priority: 'low' }), wet(0, 0)])
  w.row({ 'tu.ph': 9.5, 'sump.high-high': 1 })
  w.clock.advance(30_000)
  w.row({ 'tu.ph': 7, 'sump.high-high': 0 })
  w.news()
  w.wait(86_399)
  expect(w.news().filter((n) => n.startsWith('closed'))).toEqual([])
  w.wait(1)
  w.wait(100_000)
  expect(w.news().filter((n) => n.startsWith('closed'))).toEqual(['closed tu.ph.test @86430'])
  expect([w.view('tu.ph.test').state, w.view('sump.high-high.test').state]).toEqual(['normal', 'returned'])
})

test('while quiet conditions go on unseen; catching up makes one change of what still stands and none of what came and went', () => {
  const w = watch([high(0, 0), wet(0, 0), limitDef('tu.do', { side: 'low', limit: 2, deadband: 0, onDelayMs: 0, offDelayMs: 0 })])
  w.row({ 'tu.ph': 7, 'sump.high-high': 1, 'tu.do': 5 })
  w.engine.quiet = true
  w.clock.advance(30_000)
  w.row({ 'tu.ph': 9.5, 'sump.high-high': 0, 'tu.do': 1 })
  w.clock.advance(30_000)
  w.row({ 'tu.ph': 9.6, 'sump.high-high': 0, 'tu.do': 5 })
  expect(w.news()).toEqual(['raised sump.high-high.test @0'])
  w.told.push(...catchUp(w.engine, { nowMs: w.clock.nowMs(), steadyMs: w.clock.steadyMs() }))
  expect(w.news()).toEqual(['raised tu.ph.test @30', 'cleared sump.high-high.test @30'])
  expect(w.engine.merged).toBe(4)
})

test('an action on an alarm that is none of ours is told apart from one that is refused', () => {
  const engine = createEngine([high(0, 0)], [loop()], { nowMs: 0, steadyMs: 0 })
  const ask = { kind: 'acknowledge', atMs: 1, occurrence: 'x', version: null, by: 'J. Orme', note: null } as const
  expect(act(engine, 'nowhere', ask, { nowMs: 1, steadyMs: 1 })).toBeNull()
  expect(act(engine, `${SITE}/tu.ph.test`, ask, { nowMs: 1, steadyMs: 1 })?.refused?.code).toBe('stale-occurrence')
})

/** Readings that get here within the link's 10 s, and ticks at any moment or never: both must tell the same story. */
test('ticks change when something is told, never what: any ticks or none give the same raises and clears', () => {
  const step = fc.record({
    gapS: fc.integer({ min: 1, max: 140 }),
    lagMs: fc.integer({ min: 0, max: 9000 }),
    ph: fc.constantFrom(8, 8.95, 9.5, null),
    wet: fc.constantFrom(0, 1, null),
    ticks: fc.array(fc.integer({ min: 0, max: 149_000 }), { maxLength: 5 }),
  })
  const defs = [high(60, 40), wet(45, 20), limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.2, onDelayMs: 0, offDelayMs: 0 })]
  fc.assert(
    fc.property(fc.array(step, { maxLength: 40 }), (steps) => {
      const tell = (withTicks: boolean): string[] => {
        const clock = handClock()
        const t0 = clock.nowMs()
        const steady0 = clock.steadyMs()
        const engine = createEngine(defs, [loop()], { nowMs: t0, steadyMs: steady0 })
        const out: Told[] = []
        const moments: { at: number; seq: number; act: (now: { nowMs: number; steadyMs: number }) => void }[] = []
        let source = 0
        let arrived = 0
        steps.forEach((s, i) => {
          const before = source
          source += s.gapS * 1000
          arrived = Math.max(arrived, source + s.lagMs)
          const stamp = t0 + source
          moments.push({
            at: arrived,
            seq: i,
            act: (now) => void out.push(...onReadings(engine, [reading('tu.ph', s.ph, stamp), reading('sump.high-high', s.wet, stamp)], now)),
          })
          for (const offset of s.ticks)
            if (offset <= s.gapS * 1000) moments.push({ at: before + offset, seq: -1, act: (now) => void (withTicks && out.push(...onTick(engine, now, () => t0))) })
        })
        moments.sort((a, b) => a.at - b.at || a.seq - b.seq)
        for (const m of moments) m.act({ nowMs: t0 + m.at, steadyMs: steady0 + m.at })
        return out.filter((t) => t.event.atMs <= t0 + source - 100_000).map((t) => `${t.event.kind} ${t.event.alarm} ${t.event.atMs}`)
      }
      // Told in another order by ticks, so compared as sets of one alarm each.
      const byAlarm = (told: string[]): string[] => told.toSorted()
      expect(byAlarm(tell(true))).toEqual(byAlarm(tell(false)))
    }),
    { numRuns: 300 },
  )
})
