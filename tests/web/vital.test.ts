import { expect, test } from 'vitest'
import type { VitalBody } from '../../server/wire.ts'
import { lacking, said, vitalGroups, withVitals } from '../../web/state/vital.ts'
import { detail, STAGES } from './bodies.ts'

const vital = (more: Partial<VitalBody> = {}): VitalBody => ({
  id: 'tu.do.saturation',
  name: 'Oxygen saturation, treatment unit',
  unit: '%',
  unitText: '%',
  unitSpoken: 'percent',
  digits: 0,
  stage: 'tu',
  value: 88.4,
  quality: 'good',
  sub: 'ok',
  interval: { low: 86.2, high: 90.6 },
  bound: null,
  atMs: 0,
  why: null,
  unlock: null,
  unobservable: false,
  formula: 'f',
  source: 's',
  window: 'w',
  signals: ['tu.do'],
  inputs: [],
  notes: [],
  ...more,
})
const withheld = (more: Partial<VitalBody> = {}): VitalBody => vital({ value: null, quality: null, sub: null, interval: null, why: 'no test', unlock: 'A timer', ...more })

test.each([
  ['a figure with both ends', vital(), { text: '88', unit: '%', kind: 'good', span: '86 to 91\u00a0%', note: '' }],
  ['an open end', vital({ interval: { low: 172, high: null } }), { text: '88', unit: '%', kind: 'good', span: '172\u00a0% or more', note: '' }],
  [
    'a bound below',
    vital({ bound: 'below', value: 2.6, digits: 1, unitText: 'L/h', interval: { low: 0, high: 2.6 } }),
    { text: 'below 2.6', unit: 'L/h', kind: 'good', span: '', note: '' },
  ],
  ['at most', vital({ bound: 'at-most' }), { text: 'at most 88', unit: '%', kind: 'good', span: '', note: '' }],
  [
    'doubtful',
    vital({ quality: 'uncertain', sub: 'substitute' }),
    { text: '88', unit: '%', kind: 'doubtful', span: '86 to 91\u00a0%', note: 'doubtful: part of it is measured in another place' },
  ],
  ['withheld', withheld(), { text: '–', unit: '', kind: 'none', span: '', note: 'no test' }],
] as const)('%s is said in words', (_, v, words) => {
  expect(said(v)).toEqual(words)
})

test('vitals stand tank by tank in the order of the water, those that cannot be told apart from them by what unlocks them', () => {
  const all = [
    vital({ id: 'wash.volume', stage: null }),
    withheld({ id: 'tu.uptake' }),
    vital(),
    withheld({ id: 'bio1.do.saturation', name: 'Oxygen saturation, bio tank 1', stage: 'bio1', unobservable: true, unlock: 'Oxygen in bio tank 1' }),
    withheld({ id: 'salt.cycles', name: 'Salt', stage: null, unobservable: true, unlock: 'Oxygen in bio tank 1' }),
  ]
  expect(vitalGroups(all, STAGES).map((g) => [g.title, g.vitals.map((v) => v.id)])).toEqual([
    [STAGES.find((s) => s.id === 'tu')?.name, ['tu.uptake', 'tu.do.saturation']],
    ['The loop as a whole', ['wash.volume']],
  ])
  expect(lacking(all)).toEqual([{ unlock: 'Oxygen in bio tank 1', why: 'no test', names: ['Oxygen saturation, bio tank 1', 'Salt'] }])
})

test('a trend finds computed signals among the measured ones, but none that cannot be told', () => {
  const loop = withVitals(detail({ vitals: [vital(), withheld({ id: 'salt.cycles', unobservable: true })] }))
  expect(loop.signals.map((s) => s.id)).toEqual(['tu.do.saturation'])
})
