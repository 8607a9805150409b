/**
 * From a site file (YAML text) to a site, or to a list of sentences that say file, line, field, the value found and
 * what would be right. Defaults come from the quantity table, the train and the equipment, so that a useful file is 25 lines.
 */
import { isMap, isNode, isScalar, LineCounter, parseDocument, type Document } from 'yaml'
import { resolveForeign, resolveClock } from './site-foreign.ts'
import { checksFor } from '../intake/qartod-defaults.ts'
import { troublesOf } from '../intake/qartod-spec.ts'
import { readHours } from './hours.ts'
import { plainWords } from './plain-words.ts'
import { QUANTITIES, quantityOfId, type QuantitySpec } from './quantity.ts'
import type { AlarmOverride, Equipment, FirstState, Reach, Signal, Site, Stage, StageKind, TankShape, WeekSpan } from './site.ts'
import { siteFileSchema, type SiteFile } from './site-schema.ts'
import { tankVolumeL } from './tank.ts'
import { wallTimeMs } from './wall-time.ts'

export interface SiteFault {
  readonly file: string
  readonly line: number
  /** Path to the field, `signals.bio1.do.range`; empty for the file as a whole. */
  readonly field: string
  readonly message: string
}

/** `alarmLines`: where each change of an alarm stands, `bio1.do.low` -> line; whether it can be taken is judged where alarms are made. */
export type SiteResult =
  | { readonly ok: true; readonly site: Site; readonly alarmLines: ReadonlyMap<string, number> }
  | { readonly ok: false; readonly faults: readonly SiteFault[] }

type Path = readonly (string | number)[]
type Complain = (path: Path, message: string) => void

/** Longest site file we read, characters. A file of 500 signals with all fields is about 60,000. */
const MAX_FILE = 200_000

/** `file: line 12, signals.bio1.do.unit: "mg/l" found, ...` */
export const faultText = (f: SiteFault): string => `${f.file}: line ${f.line}${f.field ? `, ${f.field}` : ''}: ${f.message}`

/** Reads one site file. Never throws for bad content. */
export function readSiteFile(file: string, text: string): SiteResult {
  const fail = (line: number, field: string, message: string): SiteResult => ({ ok: false, faults: [{ file, line, field, message }] })
  if (text.length > MAX_FILE) return fail(1, '', `${text.length} characters, at most ${MAX_FILE} are read`)
  const lines = new LineCounter()
  const doc = parseDocument(text, { lineCounter: lines, prettyErrors: false, uniqueKeys: true })
  const broken = doc.errors[0]
  if (broken) return fail(lines.linePos(broken.pos[0]).line || 1, '', `not readable as YAML: ${broken.message}`)
  let raw: unknown
  try {
    raw = doc.toJS({ maxAliasCount: 20 })
  } catch (e) {
    return fail(1, '', `not readable as YAML: ${e instanceof Error ? e.message : String(e)}`)
  }
  if (raw === null || typeof raw !== 'object') return fail(1, '', 'empty, or not a list of fields: a site file starts with "id:", "name:", "zone:"')

  const faults: SiteFault[] = []
  const complain: Complain = (path, message) => {
    faults.push({ file, line: lineOf(doc, lines, path), field: path.join('.'), message })
  }
  const parsed = siteFileSchema.safeParse(raw, { reportInput: true, error: plainWords })
  if (!parsed.success) {
    for (const issue of parsed.error.issues) {
      if (issue.code === 'unrecognized_keys') {
        for (const key of issue.keys) complain([...issue.path, key] as Path, 'is no field we know: see the site file table in README for the names')
      } else complain(issue.path as Path, issue.input === undefined ? `missing: ${issue.message}` : `${shown(issue.input)} found: ${issue.message}`)
    }
    return { ok: false, faults }
  }
  const site = resolve(parsed.data, complain)
  if (faults.length > 0) return { ok: false, faults }
  return { ok: true, site, alarmLines: new Map(Object.keys(site.alarmOverrides).map((key) => [key, lineOf(doc, lines, ['alarms', key])])) }
}

const shown = (v: unknown): string => {
  const s = JSON.stringify(v) ?? String(v)
  return s.length > 60 ? `${s.slice(0, 57)}...` : s
}

/** Line of the deepest node of `path` that exists in the text. */
function lineOf(doc: Document, lines: LineCounter, path: Path): number {
  for (let n = path.length; n > 0; n--) {
    const parent: unknown = n === 1 ? doc.contents : doc.getIn(path.slice(0, n - 1), true)
    const key = path[n - 1]
    if (isMap(parent)) {
      const pair = parent.items.find((p) => isScalar(p.key) && p.key.value === key)
      if (pair && isScalar(pair.key) && pair.key.range) return lines.linePos(pair.key.range[0]).line
    }
    const node: unknown = doc.getIn(path.slice(0, n), true)
    if (isNode(node) && node.range) return lines.linePos(node.range[0]).line
  }
  return 1
}

function resolve(f: SiteFile, complain: Complain): Site {
  const stages = resolveTrain(f, complain)
  const equipment = resolveEquipment(f, stages, complain)
  const signals = resolveSignals(f, stages, equipment, complain)
  return {
    id: f.id,
    name: f.name,
    area: f.area ?? 'Without an area',
    customer: f.customer ?? null,
    zone: f.zone,
    latitude: f.position?.[0] ?? null,
    longitude: f.position?.[1] ?? null,
    altitudeM: f.altitudeM ?? null,
    open: hoursOf(f.open, 'open', complain),
    staffed: hoursOf(f.staffed, 'staffed', complain),
    yardPhone: f.yardPhone ?? null,
    ...(f.carePhone !== undefined && { carePhone: f.carePhone }),
    reach: resolveReach(f.reach ?? {}, complain),
    access: f.access ?? null,
    instrumentation: f.instrumentation ?? (signals.length >= 30 ? 'rich' : signals.some((s) => s.quantity === 'do') ? 'normal' : 'poor'),
    stages,
    equipment,
    signals,
    protections: Object.entries(f.protections ?? {}).map(([id, p]) => ({ id, what: p.what, present: p.present, provedOn: p.provedOn ?? null })),
    consumables: Object.entries(f.consumables ?? {}).map(([id, c]) => ({ id, name: c.name ?? id, full: c.full, unit: c.unit })),
    alarmOverrides: Object.fromEntries(Object.entries(f.alarms ?? {}).map(([id, a]) => [id, overrideOf(a)])),
    ...(f.alarmReview && { alarmReview: { owner: f.alarmReview.owner ?? null, reviewedOn: f.alarmReview.reviewedOn ?? null, everyMonths: f.alarmReview.everyMonths ?? 12 } }),
    dataPlanMb: f.dataPlanMb ?? null,
    clock: resolveClock(f.clock, complain),
    foreign: resolveForeign(f.foreign ?? [], signals, complain),
    ...(f.state && { firstState: firstStateOf(f.state, f.zone, complain) }),
  }
}

function firstStateOf(s: NonNullable<SiteFile['state']>, zone: string, complain: Complain): FirstState {
  const until = s.until === undefined ? null : wallTimeMs(s.until, zone, 0)
  if (typeof until === 'string') complain(['state', 'until'], until)
  return { state: s.is, untilMs: typeof until === 'number' ? until : null, why: s.why ?? null }
}

/** Common practice, no source: an hour by road, ten minutes until a yard has acted, a desk staffed in working hours. */
const USUAL = { driveMs: 3_600_000, yardMs: 600_000, desk: { 'mon-fri': '07:00-17:00' } } as const

function resolveReach(r: NonNullable<SiteFile['reach']>, complain: Complain): Reach {
  return {
    driveMin: (r.drive ?? USUAL.driveMs) / 60_000,
    yardMin: (r.yard ?? USUAL.yardMs) / 60_000,
    desk: hoursOf(r.desk ?? USUAL.desk, 'reach.desk', complain),
    assumed: (['drive', 'yard', 'desk'] as const).filter((k) => r[k] === undefined),
  }
}

function hoursOf(h: SiteFile['open'], field: string, complain: Complain): readonly WeekSpan[] {
  if (h === undefined) return []
  const spans = readHours(h)
  if (typeof spans !== 'string') return spans
  complain(field.split('.'), spans)
  return []
}

const STAGE_NAME: Readonly<Record<StageKind, string>> = {
  pad: 'Wash pad',
  sump: 'Sump',
  filter: 'Paper filter',
  treatment: 'Treatment unit',
  bio: 'Bio tank',
  finished: 'Finished water',
  washer: 'Pressure washer',
}
const STAGE_ID: Readonly<Record<StageKind, string>> = { pad: 'pad', sump: 'sump', filter: 'filter', treatment: 'tu', bio: 'bio', finished: 'finished', washer: 'washer' }

function resolveTrain(f: SiteFile, complain: Complain): readonly Stage[] {
  const out: Stage[] = []
  let bio = 0
  const order: readonly StageKind[] = ['pad', 'sump', 'filter', 'treatment', 'bio', 'finished', 'washer']
  const several = f.train.filter((s) => s.stage === 'bio').length > 1
  f.train.forEach((s, i) => {
    const n = s.stage === 'bio' ? ++bio : 0
    const before = f.train[i - 1]
    if (before && order.indexOf(before.stage) > order.indexOf(s.stage))
      complain(['train', i, 'stage'], `"${s.stage}" found after "${before.stage}": stages stand in the order the water meets them: ${order.join(', ')}`)
    const id = s.id ?? (s.stage === 'bio' ? `bio${n}` : STAGE_ID[s.stage])
    if (out.some((o) => o.id === id)) complain(['train', i], `stage id "${id}" stands twice: give this one an id of its own`)
    const tank: TankShape | null = s.diameterMm !== undefined && s.heightMm !== undefined ? { diameterMm: s.diameterMm, heightMm: s.heightMm, coneMm: s.coneMm ?? 0 } : null
    if ((s.diameterMm === undefined) !== (s.heightMm === undefined)) complain(['train', i], 'diameterMm and heightMm belong together: give both, or volumeL alone')
    const biology = s.stage === 'treatment' || s.stage === 'bio'
    if (s.retention !== undefined && !biology) complain(['train', i, 'retention'], `"${s.retention}" found: only treatment and bio tanks hold biology`)
    out.push({
      id,
      kind: s.stage,
      name: s.name ?? (s.stage === 'bio' && several ? `Bio tank ${n}` : STAGE_NAME[s.stage]),
      tank,
      volumeL: s.volumeL ?? (tank ? tankVolumeL(tank) : null),
      retention: biology ? (s.retention ?? 'none') : null,
      pad: s.stage === 'pad' ? { cover: s.cover ?? 'open', areaM2: s.areaM2 ?? 60, diverter: s.diverter ?? 'none' } : null,
      rollM: s.stage === 'filter' ? (s.rollM ?? null) : null,
      lanceLPerMin: s.stage === 'washer' ? (s.lanceLPerMin ?? null) : null,
    })
  })
  return out
}

function resolveEquipment(f: SiteFile, stages: readonly Stage[], complain: Complain): readonly Equipment[] {
  const known = stages.map((s) => s.id)
  return Object.entries(f.equipment ?? {}).map(([id, e]): Equipment => {
    if (known.includes(id)) complain(['equipment', id], `"${id}" is a stage as well: equipment needs an id of its own, such as "${id}-pump"`)
    for (const s of e.serves ?? []) if (!known.includes(s)) complain(['equipment', id, 'serves'], `"${s}" found: no stage of this train; it has ${known.join(', ')}`)
    if (e.kind === 'aerator' && (e.serves ?? []).length === 0) complain(['equipment', id], 'an aerator must say which tanks it gives air to: serves: [tu]')
    return {
      id,
      kind: e.kind,
      name: e.name ?? capital(id.replace(/[-_]/g, ' ').replace(/([a-z])(\d)/g, '$1 $2')),
      serves: e.serves ?? [],
      nameplateA: e.nameplateA ?? null,
      flowLPerMin: e.flowLPerMin ?? null,
      doses: e.doses ?? null,
      longestPlannedOffMs: e.longestPlannedOff ?? 0,
      ...(e.serviceEveryH !== undefined && { serviceEveryH: e.serviceEveryH }),
    }
  })
}

function resolveSignals(f: SiteFile, stages: readonly Stage[], equipment: readonly Equipment[], complain: Complain): readonly Signal[] {
  const out: Signal[] = []
  for (const [id, s] of Object.entries(f.signals)) {
    const path = ['signals', id]
    const quantity = s?.quantity ?? quantityOfId(id)
    if (!quantity) {
      complain(path, `cannot tell what "${id}" measures: end the id in a quantity (bio1.do) or add quantity:`)
      continue
    }
    const spec: QuantitySpec = QUANTITIES[quantity]
    const at = s?.in ?? (id.includes('.') ? id.slice(0, id.indexOf('.')) : null)
    const stage = stages.find((x) => x.id === at)
    const machine = equipment.find((x) => x.id === at)
    if (s?.in !== undefined && !stage && !machine)
      complain([...path, 'in'], `"${s.in}" found: no stage or equipment of this site; it has ${[...stages, ...equipment].map((x) => x.id).join(', ')}`)
    const report = s?.reportEvery ?? f.reportEvery ?? s?.sampleEvery ?? f.sampleEvery ?? 60_000
    const sample = s?.sampleEvery ?? f.sampleEvery ?? Math.min(report, 60_000)
    if (sample > report) complain([...path, 'sampleEvery'], `longer than reportEvery: a signal cannot report more often than it is sampled`)
    const signal: Signal = {
      id,
      quantity,
      name: s?.name ?? signalName(id, spec, stage?.name ?? machine?.name ?? null),
      unit: s?.unit ?? spec.unit,
      at: stage?.id ?? machine?.id ?? null,
      stage: stage?.id ?? stageOfMachine(machine, stages),
      sampleEveryMs: sample,
      reportEveryMs: report,
      range: s?.range ?? spec.range,
      resolution: s?.resolution ?? spec.resolution,
      digits: s?.digits ?? spec.digits,
      checks: s?.checks ?? null,
      ...(s?.counter && { counter: s.counter }),
    }
    if (s?.counter && spec.kind !== 'counter')
      complain([...path, 'counter'], `${quantity} is no counter: leave it out, or give the quantity hours, starts, pulses, volume or uptime`)
    if (signal.checks) {
      for (const trouble of troublesOf(checksFor(signal, { stage: stages.find((x) => x.id === signal.stage)?.kind ?? null, override: signal.checks })))
        complain([...path, 'checks'], trouble)
    }
    out.push(signal)
  }
  for (const { id, checks } of out) {
    const { flat, multivariate, neighbour } = checks ?? {}
    const named: readonly (readonly [field: string, signal: string | undefined])[] = [
      ['flat.runWhen', typeof flat === 'object' ? flat.runWhen : undefined],
      ['multivariate.with', typeof multivariate === 'object' ? multivariate.with : undefined],
      ['neighbour.with', typeof neighbour === 'object' ? neighbour.with : undefined],
    ]
    for (const [field, other] of named)
      if (other !== undefined && !out.some((s) => s.id === other))
        complain(['signals', id, 'checks', ...field.split('.')], `"${other}" found: no signal of this file; it has ${out.map((s) => s.id).join(', ')}`)
  }
  return out
}

function stageOfMachine(m: Equipment | undefined, stages: readonly Stage[]): string | null {
  if (!m) return null
  const byKind: Partial<Record<Equipment['kind'], StageKind>> = { ozone: 'finished', washer: 'washer', 'filter-drive': 'filter' }
  return m.serves[0] ?? stages.find((s) => s.kind === byKind[m.kind])?.id ?? null
}

/** "Oxygen, bio tank 1"; for floats and other ids that say more than the quantity: "High float, sump". */
function signalName(id: string, spec: QuantitySpec, place: string | null): string {
  const last = id.slice(id.lastIndexOf('.') + 1).replace(/[-_]/g, ' ')
  const what = spec.word === 'floating' || spec.word === 'float' ? `${last} float` : spec.word === 'pulses' && last !== 'pulses' ? `${last} pulses` : spec.word
  const where = place ?? (id.includes('.') ? id.slice(0, id.indexOf('.')).replace(/[-_]/g, ' ') : null)
  return capital(what) + (where ? `, ${where.slice(0, 1).toLowerCase()}${where.slice(1)}` : '')
}

const capital = (s: string): string => (s.startsWith('pH') ? s : s.slice(0, 1).toUpperCase() + s.slice(1))

function overrideOf(a: NonNullable<SiteFile['alarms']>[string]): AlarmOverride {
  return {
    why: a.why,
    ...(a.off !== undefined && { off: a.off }),
    ...(a.rule !== undefined && { rule: a.rule }),
    ...(a.what !== undefined && { what: a.what }),
    ...(a.limit !== undefined && { limit: a.limit }),
    ...(a.deadband !== undefined && { deadband: a.deadband }),
    ...(a.onDelay !== undefined && { onDelayMs: a.onDelay }),
    ...(a.offDelay !== undefined && { offDelayMs: a.offDelay }),
    ...(a.priority !== undefined && { priority: a.priority }),
    ...(a.cause !== undefined && { cause: a.cause }),
    ...(a.consequence !== undefined && { consequence: a.consequence }),
    ...(a.action !== undefined && { action: a.action }),
    ...(a.respondWithin !== undefined && { respondWithinMin: a.respondWithin / 60_000 }),
    ...(a.owner !== undefined && { owner: a.owner }),
    ...(a.reviewedOn !== undefined && { reviewedOn: a.reviewedOn }),
  }
}
