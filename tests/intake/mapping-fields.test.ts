import { expect, test } from 'vitest'
import { message, intakeWith, NOW, yard } from './parts.ts'

const unassigned = (foreign: string, ...payloads: readonly unknown[]) => {
  const sites = new Map([['ostrand', yard('ostrand', `foreign:\n${foreign}`)]])
  const { intake, clock } = intakeWith({ sites: () => sites })
  payloads.forEach((p, i) => intake.take({ ...message('', JSON.stringify(p), { receivedMs: NOW + i * 60_000 }), topic: 'quay/unit7' }))
  clock.atMs = NOW + payloads.length * 60_000
  return intake.unassigned().map(({ signal, from, lastValue, perMin, guess }) => ({ signal, path: from?.path, when: from?.when, lastValue, perMin, guess: guess?.quantity }))
}

test('figures at places no mapping names are listed with path, last figure, rate and guess; text never is', () => {
  const found = unassigned(
    '  - { topic: quay/unit7, time: { path: ts }, signals: { tu.do: { path: ai.o2, unitPath: ai.unit } } }',
    { ts: NOW, ai: { o2: 7, unit: 'mg/L', 'pH 2': 7.1 }, di: [true, false], sim: '894450', note: 'secret', 'a.b': 3 },
    { ts: NOW + 60_000, ai: { o2: 7, unit: 'mg/L', 'pH 2': 7.2 }, di: [true, true] },
  )
  expect(found).toEqual([
    { signal: 'ai.ph-2', path: 'ai.pH 2', when: null, lastValue: 7.2, perMin: 1, guess: 'ph' },
    { signal: 'di.0', path: 'di.0', when: null, lastValue: 1, perMin: 1, guess: undefined },
    { signal: 'di.1', path: 'di.1', when: null, lastValue: 1, perMin: 1, guess: undefined },
    { signal: 'sim', path: 'sim', when: null, lastValue: 894_450, perMin: null, guess: undefined },
  ])
})

test('rows that say what they are: those no mapping knows are listed by what they say, and what stands beside the rows from the root', () => {
  const found = unassigned('  - { topic: quay/unit7, rows: ch, time: { path: /ts }, signals: { tu.do: { path: v, when: { path: n, is: AI1 } } } }', {
    ts: NOW,
    rssi: -71,
    ch: [
      { n: 'AI1', v: 7 },
      { n: 'AI2', v: 3 },
      { n: 'AI3', v: 'text' },
    ],
  })
  expect(found.map((f) => [f.path, f.when, f.lastValue, f.guess])).toEqual([
    ['/rssi', null, -71, 'strength'],
    ['v', { path: 'n', is: 'AI2' }, 3, undefined],
  ])
})

test('a message in which no mapped place is found is refused, and its fields are listed: a moved field is seen at its new place', () => {
  expect(unassigned('  - { topic: quay/unit7, signals: { tu.do: { path: o2 } } }', { oxygen: 7 })).toMatchObject([{ path: 'oxygen', lastValue: 7, guess: 'do' }])
})

test('a payload with thousands of fields lists no more than sixty of them', () => {
  const wide = Object.fromEntries(Array.from({ length: 3000 }, (_, i) => [`r${i}`, i]))
  expect(unassigned('  - { topic: quay/unit7, signals: { tu.do: { path: r0 } } }', wide)).toHaveLength(60)
})
