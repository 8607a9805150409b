/** Bodies with plain defaults, so that a test names only what it is about. */
import type { AlarmBody, HistoryBody, LoopBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { IN_SERVICE } from '../../web/state/in-service.ts'

/** 17 November 2026, 03:16 UTC. */
export const NOW = Date.UTC(2026, 10, 17, 3, 16)
export const MIN = 60_000

export const alarm = (more: Partial<AlarmBody> = {}): AlarmBody => ({
  id: 'yard/blower.no-air',
  site: 'yard',
  siteName: 'Yard',
  zone: 'Europe/London',
  stage: 'bio1',
  stageName: 'Bio tank 1',
  signal: 'blower.current',
  priority: 'high',
  state: 'unacknowledged',
  shelved: null,
  suppressed: null,
  outOfService: null,
  raisedNote: null,
  hiddenCount: 0,
  reAlarms: 0,
  firstOut: false,
  shelf: { latestMs: null, words: '' },
  occurrence: 'yard/blower.no-air@1',
  version: 1,
  what: 'No air in bio tank 1',
  value: 0,
  valueNow: 0,
  limit: 2,
  unit: 'A',
  digits: 1,
  raisedMs: NOW - 5 * MIN,
  clearedMs: null,
  heldSinceMs: null,
  acknowledgedBy: null,
  acknowledgedMs: null,
  note: null,
  count: 1,
  cause: 'The blower has tripped.',
  consequence: 'The water turns septic.',
  action: ['Look at the blower.'],
  confirm: 'Pressure is back.',
  respondWithinMin: 30,
  basis: 'common practice, no source',
  cautions: [],
  ...more,
  shown: more.shown ?? more.state ?? 'unacknowledged',
})

export const STAGES: LoopBody['stages'] = [
  { id: 'pad', kind: 'pad', name: 'Wash pad', volumeL: null },
  { id: 'sump', kind: 'sump', name: 'Sump', volumeL: 1100 },
  { id: 'filter', kind: 'filter', name: 'Paper filter', volumeL: null },
  { id: 'tu', kind: 'treatment', name: 'Treatment unit', volumeL: 2300 },
  { id: 'bio1', kind: 'bio', name: 'Bio tank 1', volumeL: 7600 },
  { id: 'bio2', kind: 'bio', name: 'Bio tank 2', volumeL: 7600 },
  { id: 'finished', kind: 'finished', name: 'Finished water', volumeL: 5700 },
  { id: 'washer', kind: 'washer', name: 'Pressure washer', volumeL: null },
]

export const loop = (more: Partial<LoopBody> = {}): LoopBody => ({
  id: 'yard',
  name: 'Yard',
  area: 'Hill',
  zone: 'Europe/London',
  instrumentation: 'normal',
  stages: STAGES,
  heardMs: NOW - 4000,
  silent: false,
  reportEveryMs: 60_000,
  waterPct: 78,
  sumpPct: 44,
  waterMin: 240,
  doubtful: [],
  alarms: [],
  state: IN_SERVICE,
  ...more,
})

export const detail = (more: Partial<LoopDetailBody> = {}): LoopDetailBody => ({
  ...loop(),
  latitude: null,
  longitude: null,
  altitudeM: 0,
  customer: null,
  openNow: true,
  yardPhone: null,
  access: null,
  signals: [],
  equipment: [],
  protections: [],
  consumables: [],
  notObserved: [],
  vitals: [],
  hazards: [],
  log: [],
  ...more,
})

export const signalOf = (more: Partial<SignalBody> = {}): SignalBody => ({
  id: 'tu.do',
  name: 'Oxygen, treatment unit',
  quantity: 'do',
  kind: 'analogue',
  unit: 'mg/L',
  unitText: 'mg/L',
  unitSpoken: 'milligrams per litre',
  stage: 'tu',
  at: 'tu',
  digits: 1,
  range: [0, 25],
  states: null,
  sampleEveryMs: 60_000,
  reportEveryMs: 60_000,
  limits: [],
  value: 2.1,
  quality: 'good',
  sub: 'ok',
  sourceMs: NOW - 4000,
  receivedMs: NOW - 4000,
  ...more,
})

/** One bucket per figure; null: nothing came, 'bad': something came that was no reading. */
export function historyOf(figures: readonly (number | null | 'bad')[], bucketMs = 60_000, fromMs = NOW): HistoryBody {
  const number = (v: number | null | 'bad'): number | null => (typeof v === 'number' ? v : null)
  return {
    site: 'yard',
    signal: 'tu.do',
    unit: 'mg/L',
    unitText: 'mg/L',
    fromMs,
    toMs: fromMs + figures.length * bucketMs,
    bucketMs,
    at: figures.map((_, i) => fromMs + i * bucketMs),
    count: figures.map((v) => (typeof v === 'number' ? 1 : 0)),
    bad: figures.map((v) => (v === 'bad' ? 1 : 0)),
    min: figures.map(number),
    max: figures.map(number),
    mean: figures.map(number),
    first: figures.map(number),
    last: figures.map(number),
    worst: figures.map((v) => (v === null ? null : v === 'bad' ? 'bad' : 'good')),
    extent: { firstMs: fromMs, lastMs: fromMs + figures.length * bucketMs },
  }
}
