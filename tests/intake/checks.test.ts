/** Rules: DQ-02, DQ-04, DQ-22, DQ-25, DQ-27, QAR-04, QAR-20 and the test list below DQ-31 of the data quality digest. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { CLOCK_LIMITS, heardUntil, judge, neverHeard, specOf, stampAll, type Judged, type SignalState } from '../../gateway/intake/checks.ts'
import type { RawReading } from '../../gateway/intake/payload.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { NOW, yard } from './parts.ts'

const site = yard('ostrand', '  vault.do: { range: [0, 20], reportEvery: 15min, sampleEvery: 60s }\n')
const spec = (id: string): ReturnType<typeof specOf> => {
  const s = site.signals.find((x) => x.id === id)
  if (!s) throw new Error(id)
  return specOf(site.id, s)
}
const raw = (value: RawReading['value'], sentMs: number | null = NOW, quality: RawReading['quality'] = null): RawReading => ({ signal: 'tu.do', value, sentMs, quality })

function judgeOne(r: RawReading, over: { state?: SignalState; signal?: string; retained?: boolean; receivedMs?: number } = {}): Judged {
  const receivedMs = over.receivedMs ?? NOW
  const [stamp] = stampAll([r], receivedMs)
  if (!stamp) throw new Error('no stamp')
  return judge(over.state ?? neverHeard, r, stamp, spec(over.signal ?? 'tu.do'), { receivedMs, retained: over.retained ?? false })
}
const reading = (j: Judged): Reading => {
  if (!j.ok) throw new Error(j.detail)
  return j.reading
}

test('a plain reading is good, live and carries both its times', () => {
  expect(reading(judgeOne(raw(7.2, NOW - 3000)))).toEqual({
    key: 'ostrand/tu.do',
    sourceMs: NOW - 3000,
    receivedMs: NOW,
    value: 7.2,
    quality: 'good',
    sub: 'ok',
    qc: 1,
    clock: 'ok',
    live: true,
  })
})

test.each([
  ['119 s ahead', NOW + 119_000, 'ok'],
  ['120 s ahead', NOW + 120_000, 'ok'],
  ['121 s ahead', NOW + 121_000, 'suspect'],
  ['one day ahead', NOW + 86_400_000, 'suspect'],
  ['7 days old', NOW - 7 * 86_400_000, 'ok'],
  ['7 days and 1 ms old', NOW - 7 * 86_400_000 - 1, 'suspect'],
  ['2000-01-01', Date.UTC(2000, 0, 1), 'suspect'],
  ['1970', 0, 'suspect'],
  ['seconds instead of milliseconds', Math.round(NOW / 1000), 'suspect'],
  ['microseconds instead of milliseconds', NOW * 1000, 'suspect'],
  ['a negative time', -5, 'suspect'],
])('DQ-22 a stamp %s makes the clock %s', (_, sentMs, clock) => {
  const r = reading(judgeOne(raw(7.2, sentMs as number)))
  expect(r.clock).toBe(clock)
  expect(r.sourceMs).toBe(clock === 'ok' ? sentMs : NOW)
  if (clock === 'suspect') expect(r).toMatchObject({ quality: 'uncertain', sub: 'clock_suspect' })
})

test('DQ-22 nothing from before 2020 is believed, however long a reading may be stored up', () => {
  const limits = { ...CLOCK_LIMITS, maxAgeMs: 100 * 365 * 86_400_000 }
  const at = (sentMs: number): string | undefined => stampAll([raw(1, sentMs)], NOW, limits)[0]?.clock
  expect(at(Date.UTC(2020, 0, 1))).toBe('ok')
  expect(at(Date.UTC(2020, 0, 1) - 1)).toBe('suspect')
})

test('without a time the reading carries the time of arrival and says that its sender has no clock', () => {
  expect(reading(judgeOne(raw(7.2, null)))).toMatchObject({ sourceMs: NOW, clock: 'none', quality: 'good', live: true })
})

test('a wrongly clocked reading that just arrived is live, an old one from a full memory is not', () => {
  expect(reading(judgeOne(raw(7.2, Date.UTC(2000, 0, 1)))).live).toBe(true)
  expect(reading(judgeOne(raw(7.2, NOW + 86_400_000))).live).toBe(true)
  expect(reading(judgeOne(raw(7.2, NOW - 8 * 86_400_000))).live).toBe(false)
})

test('rows of a block with a wrong clock keep their distances and end at the time of arrival', () => {
  const lost = Date.UTC(2000, 0, 1)
  const rows = [0, 1, 2, 3, 4].map((i) => raw(i, lost + i * 60_000))
  expect(stampAll(rows, NOW).map((s) => s.sourceMs - NOW)).toEqual([-240_000, -180_000, -120_000, -60_000, 0])
})

test.each([
  [0, 'good', 'ok', 1],
  [15, 'good', 'ok', 1],
  // Beyond the user limit of the QARTOD start values, not beyond the sensor: shown as unusual, believed all the same.
  [25, 'uncertain', 'eu_exceeded', 3],
  [-0.001, 'bad', 'sensor_failure', 4],
  [25.001, 'bad', 'sensor_failure', 4],
  [null, 'bad', 'missing', 9],
])('QAR-04 oxygen of %s with a sensor of 0 to 25 mg/L is %s, %s', (value, quality, sub, qc) => {
  expect(reading(judgeOne(raw(value)))).toMatchObject({ value, quality, sub, qc })
})

test('the doubt of the sender is kept: uncertain stays uncertain, bad stays bad with its value', () => {
  expect(reading(judgeOne(raw(7.2, NOW, 'uncertain')))).toMatchObject({ quality: 'uncertain', sub: 'not_accurate', value: 7.2 })
  expect(reading(judgeOne(raw(7.2, NOW, 'bad')))).toMatchObject({ quality: 'bad', sub: 'device_failure', value: 7.2 })
  expect(reading(judgeOne(raw(99, NOW, 'good')))).toMatchObject({ quality: 'bad', sub: 'sensor_failure', value: 99 })
})

test('true and false are 1 and 0 on a state signal, and refused on a quantity', () => {
  expect(reading(judgeOne(raw(true), { signal: 'sump.high' }))).toMatchObject({ value: 1, quality: 'good' })
  expect(reading(judgeOne(raw(false), { signal: 'sump.high' }))).toMatchObject({ value: 0, quality: 'good' })
  expect(reading(judgeOne(raw(0.5), { signal: 'sump.high' }))).toMatchObject({ quality: 'bad', sub: 'sensor_failure' })
  expect(judgeOne(raw(true))).toMatchObject({ ok: false, code: 'NOT_A_NUMBER' })
})

test('DQ-25 older than the newest judged is late, and late readings do not move the newest', () => {
  const first = judgeOne(raw(7, NOW))
  const state = first.ok ? first.state : neverHeard
  const late = judgeOne(raw(6, NOW - 60_000), { state })
  expect(reading(late).live).toBe(false)
  expect(late.ok && late.state).toEqual(state)
  expect(reading(judgeOne(raw(8, NOW + 1000), { state })).live).toBe(true)
})

test('on arrival a minute signal is late after 3 minutes, a quarter-hour signal after 30', () => {
  const liveAfter = (signal: string, ageMs: number): boolean => reading(judgeOne(raw(7, NOW - ageMs), { signal })).live
  expect([liveAfter('tu.do', 180_000), liveAfter('tu.do', 180_001)]).toEqual([true, false])
  expect([liveAfter('vault.do', 1_800_000), liveAfter('vault.do', 1_800_001)]).toEqual([true, false])
})

test('the fifteen rows of a quarter-hour report are live in order', () => {
  let state = neverHeard
  const rows = Array.from({ length: 15 }, (_, i) => raw(7 + i / 10, NOW - (14 - i) * 60_000))
  const stamps = stampAll(rows, NOW)
  const lives = rows.map((r, i) => {
    const stamp = stamps[i]
    if (!stamp) throw new Error('no stamp')
    const j = judge(state, r, stamp, spec('vault.do'), { receivedMs: NOW, retained: false })
    if (j.ok) state = j.state
    return j.ok && j.reading.live
  })
  expect(lives).toEqual(rows.map(() => true))
  expect(state.newestMs).toBe(NOW)
})

test('a retained value is never live, and does not make its live copy look like a repeat', () => {
  const kept = judgeOne(raw(7.2), { retained: true })
  expect(reading(kept).live).toBe(false)
  const copy = judgeOne(raw(7.2), { state: kept.ok ? kept.state : neverHeard })
  expect(copy).toMatchObject({ news: 'new', reading: { live: true } })
})

test('a retained value without a time of its own is a start value of unknown age, and does not stand in the way of what follows in the same millisecond', () => {
  const kept = judgeOne(raw(5, null), { retained: true })
  expect(reading(kept)).toMatchObject({ sourceMs: NOW, quality: 'uncertain', sub: 'initial', live: false })
  const next = judgeOne(raw(6, null), { state: kept.ok ? kept.state : neverHeard })
  expect(reading(next)).toMatchObject({ sourceMs: NOW + 1, quality: 'good', live: true })
})

test('DQ-27 the same time and value again is a repeat, the same time with another value a conflict', () => {
  const first = judgeOne(raw(7.2))
  const state = first.ok ? first.state : neverHeard
  expect(judgeOne(raw(7.2), { state })).toMatchObject({ news: 'repeat' })
  expect(judgeOne(raw(7.3), { state })).toMatchObject({ news: 'conflict', reading: { live: false } })
  expect(judgeOne(raw(null), { state })).toMatchObject({ news: 'conflict' })
})

test('after a restart the newest stored reading is not news, the next one is', () => {
  expect(judgeOne(raw(7.2), { state: heardUntil(NOW) })).toMatchObject({ news: 'new', reading: { live: false } })
  expect(judgeOne(raw(7.2, NOW + 1), { state: heardUntil(NOW) })).toMatchObject({ reading: { live: true } })
})

test('UNI-24 different values without a time in the same millisecond are told apart by one millisecond each', () => {
  let state: SignalState = neverHeard
  const times = [7.1, 7.2, 7.3].map((v) => {
    const j = judgeOne(raw(v, null), { state })
    if (j.ok) state = j.state
    return reading(j).sourceMs - NOW
  })
  expect(times).toEqual([0, 1, 2])
  expect(judgeOne(raw(7.3, null), { state: { ...neverHeard, newestMs: NOW, newestValue: 7.3 } })).toMatchObject({ news: 'repeat' })
})

test('DQ-04 whatever is sent, a reading is never good without a figure and never has one that is not finite', () => {
  const quality = fc.constantFrom<RawReading['quality']>(null, 'good', 'uncertain', 'bad')
  const value = fc.oneof(fc.double({ noNaN: true, noDefaultInfinity: true }), fc.boolean(), fc.constant(null))
  const sent = fc.option(fc.oneof(fc.integer({ min: NOW - 9 * 86_400_000, max: NOW + 300_000 }), fc.maxSafeInteger()))
  fc.assert(
    fc.property(value, sent, quality, fc.boolean(), fc.constantFrom('tu.do', 'sump.high', 'blower.starts'), (v, sentMs, q, retained, signal) => {
      const j = judgeOne(raw(v, sentMs, q), { signal, retained })
      if (!j.ok) {
        expect([j.code, typeof v]).toEqual(['NOT_A_NUMBER', 'boolean'])
        return
      }
      const r = j.reading
      expect(r.value === null).toBe(r.quality === 'bad' && r.sub === 'missing')
      if (r.value !== null) expect(Number.isFinite(r.value)).toBe(true)
      if (retained) expect(r.live).toBe(false)
      expect(Number.isInteger(r.sourceMs) && r.sourceMs >= NOW - 8 * 86_400_000 && r.sourceMs <= NOW + 120_000).toBe(true)
    }),
    { numRuns: 2000 },
  )
})

test('QAR-15 a jump is flagged and told as it is: the value stays, the reading is live, and only its quality says uncertain', () => {
  const first = judgeOne(raw(7, NOW - 60_000), { signal: 'tu.ph' })
  if (!first.ok) throw new Error(first.detail)
  // 0.2 in five minutes is the limit; this is 1.2 in one.
  const jump = judgeOne(raw(8.2, NOW), { signal: 'tu.ph', state: first.state })
  expect(reading(jump)).toMatchObject({ value: 8.2, quality: 'uncertain', sub: 'qc_suspect', qc: 3, live: true })
})

test('QAR-24 a spike is known when the reading after it comes, and counted then', () => {
  let state = neverHeard
  const spikes: boolean[] = []
  for (const [i, v] of [7, 7, 9, 7, 7].entries()) {
    const j = judgeOne(raw(v, NOW + i * 60_000), { signal: 'tu.ph', state, receivedMs: NOW + i * 60_000 })
    if (!j.ok) throw new Error(j.detail)
    spikes.push(j.spike !== null)
    state = j.state
  }
  expect(spikes).toEqual([false, false, false, true, false])
})

test('a retained value moves no test on, and a repeat none either', () => {
  const first = judgeOne(raw(7, NOW - 60_000), { signal: 'tu.ph' })
  if (!first.ok) throw new Error(first.detail)
  for (const over of [
    { retained: true, sentMs: NOW },
    { retained: false, sentMs: NOW - 60_000 },
  ]) {
    const again = judgeOne(raw(7, over.sentMs), { signal: 'tu.ph', state: first.state, retained: over.retained })
    expect(again.ok && again.state.checks).toBe(first.state.checks)
  }
})
