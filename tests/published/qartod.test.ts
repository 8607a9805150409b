/**
 * Quality tests against the published vectors (source inside qartod-vectors.json). Every vector is put to the series form, and, where it
 * is a series of readings with a window, to the live form as well.
 */
import { expect, test } from 'vitest'
import * as series from '../../gateway/intake/qartod-series.ts'
import * as stream from '../../gateway/intake/qartod-stream.ts'
import { troublesOf } from '../../gateway/intake/qartod-spec.ts'
import * as words from '../../gateway/intake/qartod.ts'
import { bare, differences, FILE, flatSpec, rowsOf, VECTORS } from './qartod-cases.ts'
import { bySeries, byStream } from './qartod-forms.ts'

const forms = { series, stream, words }
const live = VECTORS.filter((v) => v.test !== 'aggregate' && !v.whole)

test('all 44 published vectors are here, each once, and their thresholds are sound', () => {
  expect(VECTORS).toHaveLength(44)
  expect(new Set(VECTORS.map((v) => v.id)).size).toBe(44)
  expect(VECTORS.flatMap((v) => troublesOf(v.spec))).toEqual([])
  expect(VECTORS.every((v) => v.expected.length > 0 && (v.test === 'aggregate' || v.rows.length === v.expected.length))).toBe(true)
})

test.each(VECTORS.map((v) => [v.id, v.test, v] as const))('%s (%s): the series form gives the published flags', (_id, _test, v) => {
  expect(differences(bySeries(forms, v), v.expected)).toEqual([])
})

test.each(live.map((v) => [v.id, v.test, v] as const))('%s (%s): the live form gives the published flags', (_id, _test, v) => {
  expect(differences(byStream(forms, v), v.expected)).toEqual([])
})

test('the live form answers all vectors but the two of bare flags and the six that need the end of the series', () => {
  expect(live).toHaveLength(36)
  expect(VECTORS.filter((v) => !live.includes(v)).map((v) => v.id)).toEqual(['AT-1', 'AT-2', 'AT-3', 'AT-4', 'AT-5', 'AT-9', 'AG-1', 'AG-2'])
})

test('the differences from the reference are few and known: 20 readings it passes untested, one it fails by rounding', () => {
  const all = [...FILE.rateOfChange, ...FILE.flatLine]
  const others = [...FILE.grossRange, ...FILE.spikeAverage, ...FILE.spikeDifferential, ...FILE.attenuated]
  expect(all.flatMap((v) => v.untested)).toHaveLength(20)
  expect(all.flatMap((v) => v.rounded.map((i) => `${v.id} ${i}`))).toEqual(['RC-2 8'])
  expect(others.flatMap((v) => [...v.untested, ...v.rounded])).toEqual([])
})

test('FL-5 with the three readings we ask for: the two lines of two readings are not evaluated', () => {
  const v = VECTORS.find((x) => x.id === 'FL-5')
  if (!v?.spec.flat) throw new Error('FL-5 is gone')
  const strict = { ...v, spec: { ...v.spec, flat: { ...v.spec.flat, minSamples: 3 } } }
  expect(differences(bySeries(forms, strict), v.expected)).toEqual(['4: 2 for 3', '13: 2 for 3'])
  expect(byStream(forms, strict)).toEqual(bySeries(forms, strict))
})

test('FL-6 (QAR-25): fewer than three readings are not evaluated', () => {
  const { in: values, out } = FILE.digest['FL-6']
  const v = { id: 'FL-6', test: 'flat', rows: rowsOf(values, 900), spec: bare(900, { flat: flatSpec() }), expected: out, several: [], whole: false } as const
  expect(bySeries(forms, v)).toEqual(out)
  expect(byStream(forms, v)).toEqual(out)
})

test('IR-1 (QAR-22, QAR-26): six equal readings in two bursts are nowhere a line of 3 s, though the reference fails the last', () => {
  const { timesSec, reference } = FILE.digest['IR-1']
  const rows = timesSec.map((t) => ({ atMs: t * 1000, value: 7 }))
  const v = {
    id: 'IR-1',
    test: 'flat',
    rows,
    spec: bare(1, { flat: flatSpec({ suspectMs: 3000, failMs: 5000, tol: 0.1 }) }),
    expected: reference,
    several: [],
    whole: false,
  } as const
  expect(bySeries(forms, v)).toEqual([2, 2, 2, 2, 2, 2])
  expect(byStream(forms, v)).toEqual([2, 2, 2, 2, 2, 2])
})

test('TG-1 (QAR-10): a reading a month late is preceded by a gap, which we call missing where the reference calls it failed', () => {
  const { limitSec, in: times, reference } = FILE.digest['TG-1']
  const ours = times.map((t, i) => words.timing(t * 1000, i === 0 ? t * 1000 : (times[i - 1] ?? 0) * 1000, limitSec * 1000))
  expect(ours).toEqual(reference.map((f) => (f === 4 ? 9 : f)))
  expect(words.timing(7_200_000, 0, 7_200_000)).toBe(1)
  expect(words.timing(7_200_001, 0, 7_200_000)).toBe(9)
  expect(words.timing(0, null, 7_200_000)).toBe(9)
})

test('the comparison tells a wrong flag, a missing one and one too many', () => {
  expect(differences([1, 1, 3], [1, 1, 3])).toEqual([])
  expect(differences([1, 3, 3], [1, 1, 3])).toEqual(['1: 3 for 1'])
  expect(differences([1, 1], [1, 1, 3])).toEqual(['2: none for 3'])
  expect(differences([1, 1, 3, 1], [1, 1, 3])).toEqual(['3: 1 for none'])
})
