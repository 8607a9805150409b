import { expect, test } from 'vitest'
import type { Rule } from '../../gateway/alarms/alarm.ts'
import { minutesLeft } from '../../gateway/alarms/rules.ts'
import { SITE, def, limitDef, loop, reading } from './yard.ts'
import { watch, type Watch } from './watch.ts'

// A Monday in London, winter time.
const MONDAY_0600 = 1_768_197_600_000

/** Rows every 30 s for so many minutes, with a tick after each. */
function rows(w: Watch, minutes: number, values: Readonly<Record<string, number | null>>): void {
  for (let i = 0; i < minutes * 2; i++) {
    w.row(values)
    w.wait(30)
  }
}

const low = (when?: { open?: true; signal?: string; idle?: string }) =>
  limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.2, onDelayMs: 600_000, offDelayMs: 0, ...(when && { when }) })

test('a low limit watched outside washing is not raised while the washer runs, and its delay begins when washing ends', () => {
  const w = watch([low({ idle: 'hp.run' })])
  rows(w, 30, { 'tu.do': 1, 'hp.run': 1 })
  expect(w.news()).toEqual([])
  rows(w, 11, { 'tu.do': 1, 'hp.run': 0 })
  expect(w.news()).toEqual(['raised tu.do.test @2400'])
})

test('washing does not clear an alarm that stands; its own value does', () => {
  const w = watch([low({ idle: 'hp.run' })])
  rows(w, 12, { 'tu.do': 1, 'hp.run': 0 })
  rows(w, 5, { 'tu.do': 1, 'hp.run': 1 })
  expect(w.news()).toEqual(['raised tu.do.test @600'])
  w.row({ 'tu.do': 2.2, 'hp.run': 1 })
  expect(w.news()).toEqual(['cleared tu.do.test @1020'])
})

test('a washer that reads "runs" for more than four hours is taken for a stuck signal and silences nothing', () => {
  const w = watch([low({ idle: 'hp.run' })])
  rows(w, 240, { 'tu.do': 1, 'hp.run': 1 })
  expect(w.news()).toEqual([])
  rows(w, 11, { 'tu.do': 1, 'hp.run': 1 })
  expect(w.news()).toEqual(['raised tu.do.test @15000'])
})

test('a water meter that rises is washing, one that stands still is not', () => {
  const site = loop((t) => t.replace('  hp.run:\n', '  hp.volume:\n'))
  const w = watch([low({ idle: 'hp.volume' })], { site })
  for (let i = 0; i < 40; i++) {
    w.row({ 'tu.do': 1, 'hp.volume': 5000 + 12 * i })
    w.wait(30)
  }
  expect(w.news()).toEqual([])
  rows(w, 12, { 'tu.do': 1, 'hp.volume': 5468 })
  expect(w.news()).toEqual(['raised tu.do.test @1800'])
})

test('ALM-56 a gate that cannot be read is open: doubt must not silence', () => {
  const w = watch([low({ idle: 'hp.run' })])
  rows(w, 5, { 'tu.do': 1, 'hp.run': 1 })
  rows(w, 11, { 'tu.do': 1, 'hp.run': null })
  expect(w.news()).toEqual(['raised tu.do.test @900'])
})

test('a limit tied to a running pump is judged only while it runs', () => {
  const w = watch([limitDef('tu.ph', { side: 'low', limit: 5.5, deadband: 0.2, onDelayMs: 120_000, offDelayMs: 0, when: { signal: 'acid.run' } })])
  rows(w, 10, { 'tu.ph': 5, 'acid.run': 0 })
  expect(w.news()).toEqual([])
  rows(w, 3, { 'tu.ph': 5, 'acid.run': 1 })
  expect(w.news()).toEqual(['raised tu.ph.test @720'])
})

test('a limit tied to opening hours is quiet before six and judged from six on, on the wall clock of the yard', () => {
  const w = watch([low({ open: true })], { startMs: MONDAY_0600 - 1_800_000 })
  rows(w, 41, { 'tu.do': 1 })
  expect(w.news()).toEqual(['raised tu.do.test @2400'])
})

test('closing time clears nothing', () => {
  const w = watch([low({ open: true })], { startMs: MONDAY_0600 + 11.5 * 3_600_000 })
  rows(w, 60, { 'tu.do': 1 })
  expect(w.news()).toEqual(['raised tu.do.test @600'])
})

test('a state rule raises on its value and clears on the other', () => {
  const w = watch([def({ kind: 'state', signal: 'mains.present', value: 0, onDelayMs: 900_000, offDelayMs: 60_000 })])
  rows(w, 1, { 'mains.present': 1 })
  rows(w, 16, { 'mains.present': 0 })
  rows(w, 2, { 'mains.present': 1 })
  expect(w.news()).toEqual(['raised mains.present.test @960', 'cleared mains.present.test @1080'])
})

const air = (more: Partial<Extract<Rule, { kind: 'no-air' }>> = {}) =>
  def(
    {
      kind: 'no-air',
      equipment: 'blower1',
      run: 'blower1.run',
      proof: 'blower1.pressure',
      proofLow: 100,
      onDelayMs: 600_000,
      offDelayMs: 60_000,
      oxygen: 'tu.do',
      doFastBelow: 1,
      fastOnDelayMs: 180_000,
      ...more,
    },
    { id: `${SITE}/blower1.no-air` },
  )

test('a torn air line is found by pressure although the contact says the blower runs', () => {
  const w = watch([air()])
  rows(w, 5, { 'blower1.run': 1, 'blower1.pressure': 160, 'tu.do': 6 })
  rows(w, 11, { 'blower1.run': 1, 'blower1.pressure': 60, 'tu.do': 5 })
  expect(w.news()).toEqual(['raised blower1.no-air @900'])
  expect(w.view('blower1.no-air')).toMatchObject({ value: 60, limit: 100, unit: 'mbar' })
})

test('pressure that holds is air, whatever the contact says', () => {
  const w = watch([air()])
  rows(w, 20, { 'blower1.run': 0, 'blower1.pressure': 160, 'tu.do': 6 })
  expect(w.news()).toEqual([])
})

test('once oxygen is below 1 mg/L three minutes without air are enough', () => {
  const w = watch([air()])
  rows(w, 4, { 'blower1.run': 0, 'blower1.pressure': 0, 'tu.do': 3 })
  expect(w.news()).toEqual([])
  w.row({ 'blower1.run': 0, 'blower1.pressure': 0, 'tu.do': 0.9 })
  expect(w.news()).toEqual(['raised blower1.no-air @240'])
})

test('oxygen below 1 mg/L before the air goes: three minutes from the moment it goes', () => {
  const w = watch([air()])
  rows(w, 5, { 'blower1.run': 1, 'blower1.pressure': 160, 'tu.do': 0.6 })
  rows(w, 4, { 'blower1.run': 0, 'blower1.pressure': 0, 'tu.do': 0.5 })
  expect(w.news()).toEqual(['raised blower1.no-air @480'])
})

test('where the proof has failed an open contact still says "no air", and a closed one says nothing', () => {
  const w = watch([air()])
  rows(w, 2, { 'blower1.run': 1, 'blower1.pressure': 160 })
  rows(w, 1, { 'blower1.run': 1, 'blower1.pressure': null })
  expect(w.view('blower1.no-air').heldSinceMs).toBe(w.t0 + 120_000)
  rows(w, 11, { 'blower1.run': 0, 'blower1.pressure': null })
  expect(w.news()).toEqual(['raised blower1.no-air @780'])
  rows(w, 3, { 'blower1.run': 1, 'blower1.pressure': null })
  expect(w.news()).toEqual(['held blower1.no-air @840'])
})

test('air is back only 5 % above the proof limit', () => {
  const w = watch([air({ onDelayMs: 60_000 })])
  rows(w, 2, { 'blower1.pressure': 50 })
  rows(w, 5, { 'blower1.pressure': 104 })
  expect(w.news()).toEqual(['raised blower1.no-air @60'])
  rows(w, 2, { 'blower1.pressure': 105 })
  expect(w.news()).toEqual(['cleared blower1.no-air @480'])
})

test('a loop with a contact alone is judged by the contact', () => {
  const w = watch([air({ proof: null, proofLow: null })])
  rows(w, 11, { 'blower1.run': 0 })
  expect(w.news()).toEqual(['raised blower1.no-air @600'])
})

const water = (belowMin: number, deadbandMin: number) =>
  def(
    { kind: 'water-left', level: 'finished.level', volumeL: 5700, lanceLPerMin: 23, emptyPct: 10, belowMin, deadbandMin, onDelayMs: 60_000, offDelayMs: 60_000 },
    { id: `${SITE}/finished.level.low` },
  )

test('minutes of washing left: 22 % of 5,700 L above an empty mark of 10 % last 29.7 min at 23 L/min', () => {
  // 0.12 x 5700 L = 684 L; 684 / 23 = 29.74 min. Arithmetic.
  expect(minutesLeft(22, { volumeL: 5700, lanceLPerMin: 23, emptyPct: 10 })).toBeCloseTo(29.739, 3)
  expect(minutesLeft(8, { volumeL: 5700, lanceLPerMin: 23, emptyPct: 10 })).toBe(0)
})

test('low water is raised in minutes of washing, and its value is minutes', () => {
  const w = watch([water(30, 10)], { startMs: MONDAY_0600 })
  rows(w, 3, { 'finished.level': 23 })
  expect(w.news()).toEqual([])
  rows(w, 2, { 'finished.level': 22 })
  expect(w.view('finished.level.low')).toMatchObject({ state: 'unacknowledged', unit: 'min', limit: 30 })
  expect(w.view('finished.level.low').value).toBeCloseTo(29.74, 2)
})

test('low water at night is nobody’s business until an hour before opening', () => {
  const w = watch([water(30, 10)], { startMs: MONDAY_0600 - 2 * 3_600_000 })
  rows(w, 120, { 'finished.level': 15 })
  expect(w.news()).toEqual(['raised finished.level.low @3660'])
})

test('a loop is silent two hours after it was last heard, and speaks again at once', () => {
  const w = watch([def({ kind: 'silent', afterMs: 7_200_000 }, { id: `${SITE}/site.silent` })])
  w.row({ 'tu.do': 5 })
  w.wait(7199)
  expect(w.news()).toEqual([])
  w.wait(1)
  expect(w.news()).toEqual(['raised site.silent @7200'])
  w.wait(600)
  w.take(reading('tu.do', 5, w.t0, { live: false }))
  w.tick()
  expect(w.news()).toEqual(['cleared site.silent @7800'])
})

test('a loop that has never been heard is silent two hours after the start', () => {
  const w = watch([def({ kind: 'silent', afterMs: 7_200_000 }, { id: `${SITE}/site.silent` })])
  w.wait(7200)
  expect(w.news()).toEqual(['raised site.silent @7200'])
})

test('DQ-28 setting the wall clock makes no loop silent and none heard', () => {
  const w = watch([def({ kind: 'silent', afterMs: 7_200_000 }, { id: `${SITE}/site.silent` })])
  w.row({ 'tu.do': 5 })
  w.tick()
  w.clock.setWall(w.t0 + 86_400_000)
  w.wait(60)
  expect(w.news()).toEqual([])
})

test('a standing silence is not ended by a restart that has heard nothing yet', () => {
  const silent = def({ kind: 'silent', afterMs: 7_200_000 }, { id: `${SITE}/site.silent` })
  const w = watch([silent])
  w.wait(7200)
  const lives = new Map([...w.engine.runs].map(([id, run]) => [id, run.life]))
  const again = watch([silent], { lives, startMs: w.clock.nowMs() })
  again.wait(60)
  expect(again.news()).toEqual([])
  again.heard = again.clock.nowMs()
  again.wait(1)
  expect(again.news()).toEqual(['cleared site.silent @60'])
})

const blind = def({ kind: 'blind', signal: 'tu.ph', afterMs: 900_000 }, { id: `${SITE}/tu.ph.blind` })

test('an instrument that gives nothing usable for its time while the loop reports is blind, and ends it with a value', () => {
  const w = watch([blind])
  rows(w, 1, { 'tu.ph': 7, 'tu.do': 5 })
  rows(w, 16, { 'tu.ph': null, 'tu.do': 5 })
  expect(w.news()).toEqual(['raised tu.ph.blind @960'])
  rows(w, 1, { 'tu.ph': 7, 'tu.do': 5 })
  expect(w.news()).toEqual(['cleared tu.ph.blind @1020'])
})

test('an instrument that is simply no longer sent is blind too, counted from the moment it went stale', () => {
  const w = watch([blind])
  rows(w, 1, { 'tu.ph': 7, 'tu.do': 5 })
  rows(w, 18, { 'tu.do': 5 })
  // Last value at 30 s, stale 100 s later, blind 900 s after that.
  expect(w.news()).toEqual(['raised tu.ph.blind @1030'])
})

test('a loop that is silent as a whole raises no blind instrument: that is one silence, not twenty', () => {
  const w = watch([blind])
  rows(w, 1, { 'tu.ph': 7 })
  for (let i = 0; i < 200; i++) w.wait(30)
  expect(w.news()).toEqual([])
})

test('a signal that has never come calls nobody, and its alarms show as held', () => {
  const w = watch([blind, limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 })])
  rows(w, 60, { 'tu.do': 5 })
  expect(w.news()).toEqual([])
  expect(w.view('tu.ph.test').heldSinceMs).toBe(w.t0 + 100_000)
})

test('a signal that comes but is never live, because its clock is far behind, is blind: its alarms are off and that is told', () => {
  const w = watch([blind])
  for (let i = 0; i < 40; i++) {
    w.take(reading('tu.ph', 3, w.clock.nowMs() - 400_000, { live: false }))
    w.wait(30)
  }
  // Held from 100 s after the start, when it should have come; blind 900 s after that, at the next tick.
  expect(w.news()).toEqual(['raised tu.ph.blind @1000'])
  w.row({ 'tu.ph': 7 })
  w.wait(1)
  expect(w.news()).toEqual([expect.stringMatching(/^cleared tu\.ph\.blind/)])
})
