/** A gateway that stands still until a test moves it: what the server sees is exactly what was set. */
import type { ActionResult, AlarmDef, AlarmEvent, AlarmView } from '../../gateway/alarms/alarm.ts'
import type { Floods } from '../../gateway/alarms/flood.ts'
import { isHidden, NO_OVERLAY, shownOf } from '../../gateway/alarms/overlay.ts'
import type { JournalQuery } from '../../gateway/alarms/event-query.ts'
import type { Clock } from '../../gateway/clock.ts'
import type { BucketSeries, HistoryReader } from '../../gateway/history/history.ts'
import type { LogEntry, SiteLog } from '../../gateway/log/entry.ts'
import type { GatewayEvent, GatewayPort, Health, LoopDue, LoopForecasts, LoopNormals, CredentialsPort, SiteFilesPort, SiteState } from '../../gateway/port.ts'
import { keyOf, siteOfKey, signalOfKey, type Reading } from '../../gateway/site/reading.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'
import { fakeDesk } from './fake-desk.ts'
import { fakeCredentials, noSiteFiles } from './fake-setup.ts'
import { createVitals } from '../../gateway/vitals/evaluator.ts'

export const NOON = Date.UTC(2026, 2, 4, 12)

export interface HandClock extends Clock {
  advance(ms: number): void
}

export function handClock(atMs = NOON): HandClock {
  let passed = 0
  return { nowMs: () => atMs + passed, steadyMs: () => passed, advance: (ms) => void (passed += ms) }
}

const TRAIN = `
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: treatment, volumeL: 2300, retention: carriers }
  - { stage: bio, volumeL: 7600 }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  blower: { kind: aerator, serves: [tu, bio1], nameplateA: 4.6 }
  ozone: { kind: ozone }
signals:
  tu.do:
  tu.temperature:
  sump.level:
  sump.high:
  finished.level:
  blower.run:
  blower.current:
protections:
  bund: { what: "Bund of 1.2 m3", present: true, provedOn: "2026-01-11" }
`

const parsed = readSiteFile(
  'yard.yaml',
  `id: yard\nname: Yard\narea: Hill yards\nzone: Europe/Lisbon\nreportEvery: 60s\ncarePhone: "555-0199 (loop desk, day and night)"\nopen: { mon-fri: "06:00-20:00" }\n${TRAIN}`,
)

export function testSite(id: string, name = `Yard ${id}`): Site {
  if (!parsed.ok) throw new Error(parsed.faults.map((f) => f.message).join('; '))
  return { ...parsed.site, id, name }
}

export const reading = (site: string, signal: string, value: number | null, more: Partial<Reading> = {}): Reading => ({
  key: keyOf(site, signal),
  sourceMs: NOON,
  receivedMs: NOON,
  value,
  quality: value === null ? 'bad' : 'good',
  sub: value === null ? 'not_connected' : 'ok',
  qc: value === null ? 9 : 1,
  clock: 'ok',
  live: true,
  ...more,
})

export const alarmDef = (site: string, rule: string, more: Partial<AlarmDef> = {}): AlarmDef => ({
  id: `${site}/${rule}`,
  site,
  stage: 'tu',
  rule: { kind: 'limit', signal: 'tu.do', side: 'low', limit: 2, deadband: 0.5, onDelayMs: 60_000, offDelayMs: 60_000 },
  priority: 'medium',
  what: `Low oxygen (${rule})`,
  cause: 'The blower gives too little air.',
  consequence: 'The biology slows down.',
  action: ['Look at the blower.', 'Look at the air line.'],
  confirm: 'Oxygen rises.',
  respondWithinMin: 60,
  cautions: ['lockout', 'h2s'],
  basis: 'test',
  class: 'process',
  severity: 'major',
  latching: false,
  protection: null,
  owner: 'operations',
  reviewedOn: null,
  reviewBy: null,
  version: 1,
  ...more,
})

export const alarmView = (def: AlarmDef, more: Partial<AlarmView> = {}): AlarmView => ({
  def,
  state: 'unacknowledged',
  occurrence: 'occ-1',
  version: 3,
  raisedMs: NOON - 600_000,
  clearedMs: null,
  value: 1.4,
  limit: 2,
  unit: 'mg/L',
  acknowledgedBy: null,
  acknowledgedMs: null,
  note: null,
  heldSinceMs: null,
  count: 1,
  ...NO_OVERLAY,
  raisedNote: null,
  hiddenCount: 0,
  reAlarms: 0,
  firstOut: false,
  ...more,
  shown: shownOf({ ...NO_OVERLAY, ...more }, more.state ?? 'unacknowledged'),
})

export const alarmEvent = (view: AlarmView, kind: AlarmEvent['kind'], more: Partial<AlarmEvent> = {}): AlarmEvent => ({
  alarm: view.def.id,
  occurrence: view.occurrence ?? 'occ-1',
  kind,
  atMs: NOON,
  recordedMs: NOON,
  state: view.state,
  value: view.value,
  limit: view.limit,
  unit: view.unit,
  by: null,
  note: null,
  defVersion: 1,
  ...more,
})

interface Moving {
  site: Site
  heardMs: number | null
  silent: boolean
  latest: Map<string, Reading>
}

export interface FakeGateway extends GatewayPort {
  /** Takes readings as the newest and tells the listeners. */
  push(...readings: Reading[]): void
  setAlarm(view: AlarmView): void
  /** Sets the alarm and tells the listeners. */
  tellAlarm(view: AlarmView, kind?: AlarmEvent['kind']): void
  setSilent(site: string, silent: boolean): void
  readonly events: AlarmEvent[]
  readonly entries: LogEntry[]
  readonly asked: { keys: readonly string[]; fromMs: number; toMs: number; points: number }[]
  /** What is answered of every loop; a test sets them. */
  outlook: { forecasts: LoopForecasts; normals: LoopNormals }
  dueLists: LoopDue[]
  readonly journalAsked: JournalQuery[]
  listeners(): number
  /** Made to fail by tests that want to see a failure of ours. */
  broken: boolean
  flooding: Floods
  siteFiles: SiteFilesPort
  credentials: CredentialsPort
}

export function fakeGateway(sites: readonly Site[], clock: Clock): FakeGateway {
  const states = new Map<string, Moving>(sites.map((site) => [site.id, { site, heardMs: NOON, silent: false, latest: new Map() }]))
  const alarms = new Map<string, AlarmView>()
  const vitals = new Map(sites.map((s) => [s.id, createVitals(s)]))
  const listeners = new Set<(e: GatewayEvent) => void>()
  const tell = (e: GatewayEvent): void => {
    for (const l of listeners) l(e)
  }
  const asked: FakeGateway['asked'] = []
  const journalAsked: FakeGateway['journalAsked'] = []
  const events: AlarmEvent[] = []
  const entries: LogEntry[] = []

  const history: HistoryReader = {
    latest: async () => new Map(),
    range: async () => [],
    async buckets(keys, fromMs, toMs, points): Promise<BucketSeries[]> {
      asked.push({ keys, fromMs, toMs, points })
      const bucketMs = Math.max(1, Math.ceil((toMs - fromMs) / points))
      const n = Math.ceil((toMs - fromMs) / bucketMs)
      return keys.map((key) => ({
        key,
        bucketMs,
        buckets: Array.from({ length: n }, (_, i) =>
          i % 2 === 0
            ? { fromMs: fromMs + i * bucketMs, count: 3, bad: 0, min: 1, max: 3, mean: 2, first: 1, last: 3, worst: 'good' as const }
            : { fromMs: fromMs + i * bucketMs, count: 0, bad: 0, min: null, max: null, mean: null, first: null, last: null, worst: null },
        ),
      }))
    },
    extent: async () => ({ firstMs: NOON - 86_400_000, lastMs: NOON }),
  }
  const log: SiteLog = {
    async add(entry, by) {
      if (entry.corrects !== undefined && !entries.some((e) => e.id === entry.corrects && e.site === entry.site))
        throw new Error(`entry ${entry.corrects} is none of the log of ${entry.site}: "corrects" must name one that is`)
      const written: LogEntry = { ...entry, id: entries.length + 1, by, recordedMs: clock.nowMs() }
      entries.unshift(written)
      tell({ kind: 'log', entry: written })
      return written
    },
    list: async (q) => entries.filter((e) => (q.site === undefined || e.site === q.site) && e.atMs >= q.fromMs && e.atMs < q.toMs).slice(0, q.limit),
  }

  const desk = fakeDesk(clock, (site) => tell({ kind: 'state', site }))
  const lay = (id: string, version: number, kind: AlarmEvent['kind'], over: Partial<AlarmView>): ActionResult => {
    const view = alarms.get(id)
    if (!view) return { ok: false, code: 'unknown-alarm', message: `No alarm "${id}".` }
    if (version !== view.version) return { ok: false, code: 'stale-version', message: `Changed since: it is at version ${view.version}.` }
    const next = alarmView(view.def, { ...view, ...over, version: view.version + 1 })
    gateway.tellAlarm(next, kind)
    return { ok: true, view: next }
  }

  const gateway: FakeGateway = {
    broken: false,
    siteFiles: noSiteFiles,
    credentials: fakeCredentials(clock),
    flooding: { fleet: null, sites: [], groups: [] },
    dueLists: [],
    outlook: { forecasts: { atMs: NOON, expected: [] }, normals: { atMs: NOON, paused: null, normals: [] } },
    forecasts: async (site) => (states.has(site) ? gateway.outlook.forecasts : null),
    normals: async (site) => (states.has(site) ? gateway.outlook.normals : null),
    changes: {
      changeable: () => null,
      preview: () => ({ ok: false, message: 'nothing can be changed here' }),
      change: async () => ({ ok: false, code: 'unknown-alarm', message: 'No alarm.' }),
      undo: async (id) => ({ ok: false, code: 'unknown-change', message: `No change has the number ${id}.` }),
      list: async () => [],
      raisedUnder: async () => null,
    },
    due: async (site) => (states.has(site) ? (gateway.dueLists.find((d) => d.site === site) ?? { site, atMs: NOON, items: [], proofs: [] }) : null),
    dueEverywhere: () => gateway.dueLists,
    events,
    entries,
    asked,
    journalAsked,
    history,
    log,
    sites: () => [...states.values()],
    site: (id): SiteState | null => states.get(id) ?? null,
    standing: (site) => [...alarms.values()].filter((v) => v.state !== 'normal' && !isHidden(v) && (site === undefined || v.def.site === site)),
    setAside: (site) => [...alarms.values()].filter((v) => isHidden(v) && (site === undefined || v.def.site === site)),
    floods: () => gateway.flooding,
    wake: () => null,
    entryBlock: () => null,
    loopState: (site) => (states.has(site) ? desk.of(site) : null),
    stateDesk: desk,
    vitals: (site) => (states.has(site) ? (vitals.get(site)?.explainAll() ?? []) : []),
    alarmsOf: (site) => [...alarms.values()].filter((v) => v.def.site === site),
    async journal(q) {
      journalAsked.push(q)
      return events
        .filter((e) => q.site === undefined || e.alarm.startsWith(`${q.site}/`))
        .slice(0, q.limit)
        .map((e, i) => ({ ...e, seq: events.length - i }))
    },
    async acknowledge(id, occurrence, by, note, version) {
      const view = alarms.get(id)
      if (!view) return { ok: false, code: 'unknown-alarm', message: `No alarm "${id}".` }
      if (view.state === 'normal') return { ok: false, code: 'not-allowed', message: 'It is normal: there is nothing to answer.' }
      if (view.occurrence !== occurrence) return { ok: false, code: 'stale-occurrence', message: `It stands as ${view.occurrence}.` }
      if (version !== undefined && version !== view.version) return { ok: false, code: 'stale-version', message: `It is at version ${view.version}.` }
      const next: AlarmView = { ...view, state: 'acknowledged', version: view.version + 1, acknowledgedBy: by, acknowledgedMs: clock.nowMs(), note }
      gateway.tellAlarm(next, 'acknowledged')
      return { ok: true, view: next }
    },
    async reset(id, occurrence) {
      const view = alarms.get(id)
      if (!view) return { ok: false, code: 'unknown-alarm', message: `No alarm "${id}".` }
      if (view.state !== 'latched-acknowledged') return { ok: false, code: 'not-allowed', message: 'Its condition is still there, or nobody has answered it.' }
      if (view.occurrence !== occurrence) return { ok: false, code: 'stale-occurrence', message: `It stands as ${view.occurrence}.` }
      const next: AlarmView = { ...view, state: 'normal', occurrence: null, version: view.version + 1 }
      gateway.tellAlarm(next, 'reset')
      return { ok: true, view: next }
    },
    async shelve(id, shelf, by, version) {
      return lay(id, version, 'shelved', { shelved: { ...shelf, by, atMs: clock.nowMs() } })
    },
    async unshelve(id, _by, version) {
      return lay(id, version, 'unshelved', { shelved: null })
    },
    async outOfService(id, request, by, version) {
      return lay(id, version, 'out-of-service', { outOfService: { ...request, by, atMs: clock.nowMs(), overdue: false } })
    },
    async inService(id, _by, version) {
      return lay(id, version, 'in-service', { outOfService: null })
    },
    quarantine: () => [
      { code: 'NOT_JSON', pattern: 'loopkeeper/v1/ostrand', topic: 'loopkeeper/v1/ostrand', detail: 'near character 3', bytes: 12, count: 2, firstMs: NOON - 500, lastMs: NOON },
    ],
    unassigned: () => [
      {
        site: 'ostrand',
        signal: 'panel.x7',
        count: 4,
        firstMs: NOON - 180_000,
        lastMs: NOON,
        lastValue: 7.1,
        perMin: 1,
        guess: { quantity: 'ph', unit: '[pH]', because: 'its figures fit' },
        from: null,
      },
    ],
    adopt: (site, { signal, quantity }) =>
      signal === 'tu.do'
        ? { ok: false, message: 'tu.do is in upper.yaml already.' }
        : { ok: true, file: `${site}.yaml`, line: 14, written: `${signal}: { quantity: "${quantity}" }` },
    traffic: () => [{ site: 'ostrand', heardMs: NOON, messages: 4, bytes: 200, planMb: 20, month: null, clockBehindMs: -5000, clockDriftMsPerDay: null }],
    health(): Health {
      if (gateway.broken) throw new Error('the disk is on fire at /somewhere/secret')
      return {
        startedMs: NOON - 1000,
        nowMs: clock.nowMs(),
        troubles: [],
        counters: [{ name: 'readings', value: 7, what: 'Readings taken.' }],
        rejected: { NOT_JSON: 2 },
        rejects: [{ code: 'NOT_JSON', topic: 'loopkeeper/v1/x', bytes: 3, atMs: NOON, detail: 'no' }],
        siteFaults: [{ file: 'a.yaml', line: 3, field: 'zone', message: 'no zone' }],
        brokers: [{ name: 'own', state: 'listening', detail: '' }],
      }
    },
    troubles: () => ['the disk is nearly full'],
    subscribe(listener) {
      listeners.add(listener)
      return () => void listeners.delete(listener)
    },
    push(...readings) {
      for (const r of readings) {
        const state = states.get(siteOfKey(r.key))
        if (!state) continue
        state.latest.set(signalOfKey(r.key), r)
        state.heardMs = r.receivedMs
        vitals.get(state.site.id)?.take([r])
      }
      tell({ kind: 'readings', readings })
    },
    setAlarm: (view) => void alarms.set(view.def.id, view),
    tellAlarm(view, kind = 'raised') {
      alarms.set(view.def.id, view)
      tell({ kind: 'alarm', event: alarmEvent(view, kind), view })
    },
    setSilent(site, silent) {
      const state = states.get(site)
      if (!state) return
      state.silent = silent
      tell({ kind: 'site', site, silent, heardMs: state.heardMs })
    },
    listeners: () => listeners.size,
  }
  return gateway
}
