/**
 * Loops in every state a page can meet. The loops are those of the demo fleet with its real default alarms, copied under
 * invented names where more are wanted; what stands, who answered and what is doubtful is written down here.
 */
import { readdirSync, readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import type { AlarmDef, AlarmState, AlarmView } from '../../gateway/alarms/alarm.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { NO_OVERLAY, shownOf, type Overlays } from '../../gateway/alarms/overlay.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { quiet } from '../alarms/quiet.ts'
import { chance, rounded, valueAt } from './story.ts'

/** As the pictures are taken: Tuesday 17 November 2026, 03:16 UTC. */
const NIGHT = Date.UTC(2026, 10, 17, 3, 16)

export type FleetName = 'eight' | 'sixty' | 'hundreds' | 'five-hundred' | 'thousands' | 'quiet' | 'none'

export interface Loop {
  readonly site: Site
  heardMs: number | null
  silent: boolean
  readonly latest: Map<string, Reading>
  /** Every alarm of the loop, by id. */
  readonly alarms: Map<string, AlarmView>
  readonly airLost: boolean
}

interface Trouble {
  readonly rule: string
  readonly min: number
  readonly state?: AlarmState
  readonly by?: string
  readonly note?: string
  readonly held?: boolean
  readonly value?: number
  readonly over?: Partial<Overlays>
  readonly first?: boolean
}

interface Case {
  readonly troubles?: readonly Trouble[]
  readonly silentMin?: number
  readonly neverHeard?: boolean
  /** Signals whose newest reading is uncertain, bad or old. */
  readonly doubtful?: readonly string[]
  readonly bad?: readonly string[]
  readonly old?: readonly string[]
}

const MIN = 60_000

/** One case per demo loop. */
const EIGHT: Readonly<Record<string, Case>> = {
  'kestrow-berth-3': {
    troubles: [
      { rule: 'blower.no-air', min: 5, value: 3 },
      { rule: 'bio1.do.low', min: 2, value: 1.9 },
      { rule: 'finished.level.low', min: 14, state: 'acknowledged', by: 'Ruth A.', note: 'make-up open, refilling', value: 27 },
      { rule: 'panel.auto.off', min: 190 },
    ],
    doubtful: ['tu.conductivity'],
  },
  'ullenwick-bus-north': {
    troubles: [
      { rule: 'sump.level.high-high', min: 38, state: 'acknowledged', by: 'Ruth A.', note: 'valve shut, pumping out, on site', value: 96 },
      {
        rule: 'panel.auto.off',
        min: 190,
        over: { shelved: { untilMs: NIGHT + 2.2 * 3_600_000, oneShot: false, by: 'Ruth A.', reason: 'hand mode until the float is changed', atMs: NIGHT - 7_200_000 } },
      },
      {
        rule: 'tu.ph.high',
        min: 400,
        over: {
          outOfService: {
            reviewMs: NIGHT + 3 * 86_400_000,
            by: 'Jon P.',
            reason: 'probe broken, new one ordered',
            measure: 'driver reads the hand meter twice a day',
            atMs: NIGHT - 86_400_000,
            overdue: false,
          },
        },
      },
      {
        rule: 'sump.level.high',
        min: 40,
        over: {
          suppressed: {
            ruleId: 'ullenwick-bus-north/sump.level.high-high',
            reason: '"Sump nearly overflowing" speaks for it',
            atMs: NIGHT - 180_000,
            endsMs: null,
            answeredBy: null,
          },
        },
      },
    ],
  },
  'vantlemoor-tram-works': { troubles: [{ rule: 'finished.level.low-low', min: 84, state: 'acknowledged', by: 'Night shift', note: 'make-up open, refilling', value: 8 }] },
  'thrapplow-quarry-upper': { troubles: [{ rule: 'tu.ph.high-high', min: 12, held: true, value: 9.6 }], bad: ['tu.ph'] },
  'brackfold-refuse-depot': { troubles: [{ rule: 'filter.roll-end.reached', min: 300, state: 'returned' }] },
  'saltrigg-boat-park': { silentMin: 187, troubles: [{ rule: 'site.silent', min: 67 }] },
  'myrrhope-fish-dock': { doubtful: ['bio1.level'], old: ['tu.temperature'] },
}

/** Cases strewn over a larger fleet, one every so many loops. */
const STREWN: readonly Case[] = [
  { troubles: [{ rule: 'filter.roll-end.reached', min: 95 }] },
  { silentMin: 47 },
  { troubles: [{ rule: 'tu.do.low', min: 64, state: 'acknowledged', by: 'Jon P.', value: 1.6 }] },
  { troubles: [{ rule: 'panel.auto.off', min: 260 }] },
  { doubtful: ['finished.level'] },
  { troubles: [{ rule: 'tu.do.low-low', min: 21, value: 0.3 }] },
  { troubles: [{ rule: 'panel.auto.off', min: 900 }] },
  { troubles: [{ rule: 'tu.do.low', min: 51, state: 'returned' }] },
  { neverHeard: true },
  { troubles: [{ rule: 'containment.leak.wet', min: 31, state: 'latched-unacknowledged' }] },
  { troubles: [{ rule: 'panel.auto.off', min: 30 }], doubtful: ['tu.do'] },
  { troubles: [{ rule: 'mains.present.absent', min: 17 }] },
  { troubles: [{ rule: 'sump.level.high', min: 130, state: 'latched-acknowledged', by: 'Ines C.' }] },
  { troubles: [{ rule: 'blower.no-air', min: 44, state: 'acknowledged', by: 'Tomas W.', note: 'breaker reset, watching' }] },
]

const FIRST =
  'Aldrake Bastenford Corvane Drennaby Eskavel Fenwythe Garrowmill Haskeld Immerlow Joskelyn Kilvern Larkrigg Merrowgate Norvaskel Orriston Pellisand Quorrick Rossimoor Skelderby Tobrane Ulverhay Wexmarl Yarrabeck Zellby'.split(
    ' ',
  )
const SECOND = [
  'Coaches',
  'Gravel',
  'Tankers',
  'Van Hire',
  'Slip',
  'Plant Hire',
  'Rail Plant',
  'Parcel Vans',
  'Harvester Hire and Repair, machinery pad',
  'Concrete',
  'Boat Lift',
  'Streets',
]
const AREAS = ['Coast and estuary', 'Town and rail', 'Hill and quarry']
const MANY_AREAS =
  'Coast north,Coast south,Estuary,Ferry lines,Fish docks,Town west,Town east,Bus depots,Tram and rail,Street cleaning,Waste lorries,Airfield,Hill farms,Valley farms,Quarries,Concrete,Timber,Plant hire,Container yards,Winter roads'.split(
    ',',
  )

function demoSites(): readonly Site[] {
  const dir = fileURLToPath(new URL('../../simulator/fleets/demo/', import.meta.url))
  return readdirSync(dir)
    .filter((f) => f.endsWith('.yaml'))
    .map((f) => {
      const read = readSiteFile(f, readFileSync(dir + f, 'utf8'))
      if (!read.ok) throw new Error(read.faults.map((x) => x.message).join('; '))
      return read.site
    })
}

export function makeFleet(name: FleetName, nowMs: number): Loop[] {
  if (name === 'none') return []
  const demo = demoSites()
  const defs = new Map(demo.map((s) => [s.id, defaultAlarms(s).defs]))
  const loops = demo.map((s) => makeLoop(s, defs.get(s.id) ?? [], name === 'quiet' ? {} : (EIGHT[s.id] ?? {}), nowMs))
  const wanted = { eight: 8, quiet: 8, sixty: 60, hundreds: 240, 'five-hundred': 500, thousands: 2000 }[name]
  const areas = name === 'thousands' ? MANY_AREAS : AREAS
  for (let i = loops.length; i < wanted; i++) {
    const model = demo[i % demo.length]!
    const first = FIRST[i % FIRST.length]!
    const second = SECOND[Math.floor(i / 5) % SECOND.length]!
    const id = `yard-${i}`
    const turn = Math.floor(i / FIRST.length / SECOND.length)
    const site: Site = { ...model, id, name: `${first} ${second}${turn > 0 ? ` ${turn + 1}` : ''}`, area: areas[i % areas.length]! }
    const every = name === 'sixty' ? 4 : 13
    const it = i % every === 0 ? (STREWN[(i / every) % STREWN.length] ?? {}) : {}
    loops.push(
      makeLoop(
        site,
        (defs.get(model.id) ?? []).map((d) => ({ ...d, id: d.id.replace(model.id, id), site: id })),
        it,
        nowMs,
      ),
    )
  }
  return loops
}

function makeLoop(site: Site, defs: readonly AlarmDef[], c: Case, nowMs: number): Loop {
  const heardMs = c.neverHeard ? null : nowMs - (c.silentMin === undefined ? 3_000 : c.silentMin * MIN)
  const airLost = c.troubles?.some((t) => t.rule === 'blower.no-air' && t.state === undefined) ?? false
  const loop: Loop = { site, heardMs, silent: c.silentMin !== undefined || c.neverHeard === true, latest: new Map(), alarms: new Map(), airLost }
  if (heardMs !== null) for (const s of site.signals) loop.latest.set(s.id, readingOf(loop, s.id, heardMs, nowMs, c))
  for (const def of defs) {
    const t = c.troubles?.find((x) => def.id === `${site.id}/${x.rule}`)
    loop.alarms.set(def.id, viewOf(def, t, nowMs))
    if (t?.value !== undefined && !t.held) agree(loop, def, t.value)
  }
  return loop
}

/** What stands and what is read must be one story: the reading an alarm stands on shows what the alarm says. */
function agree(loop: Loop, def: AlarmDef, value: number): void {
  const { rule } = def
  const signal = rule.kind === 'limit' ? rule.signal : rule.kind === 'water-left' ? rule.level : null
  const reading = signal === null ? undefined : loop.latest.get(signal)
  if (signal === null || !reading || reading.value === null) return
  const shown = rule.kind === 'water-left' ? Math.round(rule.emptyPct + (100 * value * rule.lanceLPerMin) / rule.volumeL) : value
  loop.latest.set(signal, { ...reading, value: shown })
}

/** A fresh reading of one signal. */
export function readingOf(loop: Loop, signal: string, atMs: number, nowMs: number, c: Case = {}): Reading {
  const s = loop.site.signals.find((x) => x.id === signal)
  if (!s) throw new Error(`no signal ${signal} on ${loop.site.id}`)
  const bad = c.bad?.includes(signal) ?? false
  const uncertain = c.doubtful?.includes(signal) ?? false
  const sourceMs = c.old?.includes(signal) ? atMs - 6 * s.reportEveryMs : atMs
  const spread = chance(loop.site.id + signal)
  const value =
    s.quantity === 'level' && s.id.startsWith('finished') ? Math.round(25 + 70 * spread) : rounded(s, valueAt(s, { ms: atMs, nowMs, site: loop.site.id, airLost: loop.airLost }))
  return {
    key: `${loop.site.id}/${signal}`,
    sourceMs,
    receivedMs: sourceMs,
    value: bad ? null : value,
    quality: bad ? 'bad' : uncertain ? 'uncertain' : 'good',
    sub: bad ? 'sensor_failure' : uncertain ? 'qc_suspect' : 'ok',
    qc: bad ? 4 : uncertain ? 3 : 1,
    clock: 'ok',
    live: true,
  }
}

function viewOf(def: AlarmDef, t: Trouble | undefined, nowMs: number): AlarmView {
  const limit = def.rule.kind === 'limit' ? def.rule.limit : def.rule.kind === 'water-left' ? def.rule.belowMin : def.rule.kind === 'no-air' ? def.rule.proofLow : null
  if (!t) return quiet(def)
  const state = t.state ?? 'unacknowledged'
  const over = { ...NO_OVERLAY, ...t.over }
  const raisedMs = nowMs - t.min * MIN
  const gone = state === 'returned' || state.startsWith('latched')
  return {
    def,
    state,
    occurrence: `${def.id}@${raisedMs}`,
    version: 2,
    raisedMs,
    clearedMs: gone ? nowMs - 0.4 * t.min * MIN : null,
    value: t.value ?? null,
    limit,
    unit: def.rule.kind === 'water-left' ? 'min' : unitOf(def),
    acknowledgedBy: t.by ?? null,
    acknowledgedMs: t.by === undefined ? null : raisedMs + 3 * MIN,
    note: t.note ?? null,
    raisedNote: null,
    heldSinceMs: t.held ? nowMs - 4 * MIN : null,
    count: 1,
    ...over,
    shown: shownOf(over, state),
    hiddenCount: t.over ? 2 : 0,
    reAlarms: 0,
    firstOut: t.first === true,
  }
}

const unitOf = (def: AlarmDef): string => (def.rule.kind === 'no-air' ? 'mbar' : /\.do\./.test(def.id) ? 'mg/L' : /level/.test(def.id) ? '%' : /ph\./.test(def.id) ? '[pH]' : '')
