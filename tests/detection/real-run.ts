/**
 * One series through the checks of intake and the alarm engine, row after row with a clock that is moved by hand: nothing is known before it
 * happens. Left out are payload, store and journal, which change no verdict.
 */
import { onReadings, onTick } from '../../gateway/alarms/engine.ts'
import { createEngine, type Engine, type Told } from '../../gateway/alarms/engine-state.ts'
import { judge, neverHeard, specOf } from '../../gateway/intake/checks.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'
import type { Signal, Site } from '../../gateway/site/site.ts'
import type { Annunciation, Label, LoopRun } from './label.ts'
import type { Series } from './real-data.ts'
import { KINDS, learningAlarms, limitAlarms, PACES, type Kind } from './real-kinds.ts'

/**
 * Rows that are not scored, from which limits are set: 15 % of a file and of 5,000 rows at most, the probation of the benchmark that the
 * machine temperature comes from (Lavin and Ahmad, Evaluating real-time anomaly detection algorithms, 2015).
 */
export const firstRows = (rows: number): number => Math.floor(0.15 * Math.min(rows, 5000))

/** A doubt is told again when nothing was doubted for so many rows. */
const DOUBT_ROWS = 4

export interface RealRun extends LoopRun {
  readonly signals: number
  /** Row by row from the first scored one on: called wrong by people (1, or 2: not asked), doubted by the checks, an alarm standing. */
  readonly wrong: Uint8Array
  readonly doubted: Uint8Array
  readonly standing: Uint8Array
}

export function runOf(series: Series): RealRun {
  const { times, columns, wrong, everyMs, name } = series
  const rows = times.length
  const first = firstRows(rows)
  const site = siteOf(series)
  const parts = columns.map((c) => {
    const signal = site.signals.find((s) => s.id === `tu.${c.name}`)
    if (!signal) throw new Error(`${name} has no signal for ${c.name}`)
    return { values: c.values, signal, kind: KINDS[c.kind], spec: specOf(site.id, signal, 'treatment'), state: neverHeard }
  })
  const startMs = times[0] ?? 0
  const at = (ms: number): { readonly nowMs: number; readonly steadyMs: number } => ({ nowMs: ms, steadyMs: ms })
  const engines = [
    made(
      createEngine(
        parts.flatMap((p) => learningAlarms(site.id, p.signal, p.kind, everyMs)),
        [site],
        at(startMs),
      ),
    ),
  ]

  const told: { -readonly [K in keyof Annunciation]: Annunciation[K] }[] = []
  const open = new Map<string, (typeof told)[number]>()
  const doubted = new Uint8Array(rows)
  const standing = new Uint8Array(rows)
  const lastDoubt = parts.map(() => Number.NEGATIVE_INFINITY)
  const rowOf = new Map<number, number>()
  let nowMs = startMs

  const tell = (alarm: string, atMs: number, value: number | null): (typeof told)[number] => {
    const a = {
      site: site.id,
      alarm: `${site.id}/${alarm}`,
      trouble: 'any' as const,
      priority: 'low' as const,
      wokeMs: nowMs,
      called: false,
      atMs,
      toldMs: nowMs,
      clearedMs: null,
      soInTruth: null,
      value,
    }
    told.push(a)
    return a
  }
  const hear = (all: readonly Told[]): void => {
    for (const { event } of all) {
      if (event.kind === 'raised') open.set(event.alarm, tell(event.alarm.slice(site.id.length + 1), event.atMs, event.value))
      else if (event.kind === 'cleared') {
        const a = open.get(event.alarm)
        if (a) a.clearedMs = event.atMs
        open.delete(event.alarm)
      }
    }
  }
  const doubt = (i: number, part: number, row: number): void => {
    doubted[row] = 1
    if (i - (lastDoubt[part] ?? 0) > DOUBT_ROWS) tell(`${parts[part]?.signal.id}.checks`, times[row] ?? 0, null).clearedMs = nowMs
    lastDoubt[part] = i
  }

  for (let i = 0; i < rows; i++) {
    const sourceMs = times[i] ?? 0
    nowMs = Math.max(nowMs, sourceMs)
    if (i === first) engines.push(made(createEngine(commissioned(site, parts, first), [site], at(nowMs))))
    if (sourceMs === nowMs) rowOf.set(sourceMs, i)
    const readings: Reading[] = []
    parts.forEach((p, n) => {
      const x = p.values[i] ?? Number.NaN
      const raw = { signal: p.signal.id, value: Number.isNaN(x) ? null : x, quality: null, sentMs: sourceMs }
      // The stamps are of years before ours: they are taken as written.
      const judged = judge(p.state, raw, { sourceMs, clock: 'ok', backlog: false }, p.spec, { receivedMs: nowMs, retained: false })
      if (!judged.ok) throw new Error(`${name}, row ${i + 1}: ${judged.detail}`)
      p.state = judged.state
      if (judged.news === 'repeat') return
      readings.push(judged.reading)
      // A spike shows by its right neighbour, so it is told a row late.
      const before = judged.spike && rowOf.get(judged.spike.sourceMs)
      if (before !== null && before !== undefined) doubt(i, n, before)
      if (judged.reading.qc === 3 || judged.reading.qc === 4) doubt(i, n, i)
    })
    for (const e of engines) hear([...onReadings(e, readings, at(nowMs)), ...onTick(e, at(nowMs), () => nowMs)])
    if (open.size > 0) standing[i] = 1
  }
  const fromMs = times[first] ?? 0
  const toMs = nowMs + everyMs
  const afterMs = Math.max(...parts.map((p) => PACES[p.kind.pace].afterMs))
  return {
    site: site.id,
    level: 'normal',
    fromMs,
    toMs,
    reportEveryMs: everyMs,
    labels: labelsOf(series, fromMs, afterMs),
    told: told.filter((a) => a.toldMs >= fromMs),
    counters: {},
    troubles: [],
    signals: parts.length,
    wrong: wrong.subarray(first),
    doubted: doubted.subarray(first),
    standing: standing.subarray(first),
  }
}

/** Each run of rows with one mark. What began before the scored part explains, and is neither found nor missed. */
function labelsOf(s: Series, fromMs: number, afterMs: number): readonly Label[] {
  const out: Label[] = []
  for (let i = 0; i < s.wrong.length; i++) {
    const mark = s.wrong[i] ?? 0
    if (mark === 0) continue
    const onsetMs = s.times[i] ?? 0
    while (s.wrong[i + 1] === mark) i++
    const endMs = s.times[i] ?? onsetMs
    if (endMs < fromMs) continue
    out.push({
      id: `${s.name} ${out.length + 1}`,
      site: s.name,
      level: 'normal',
      scenario: s.name,
      alike: false,
      onsetMs,
      endMs,
      helpsToMs: endMs + s.everyMs,
      explainsToMs: endMs + afterMs,
      names: ['other'],
      follows: [],
      seen: mark === 1 && onsetMs >= fromMs ? 'yes' : 'no',
      air: false,
    })
  }
  return out
}

function made(e: Engine): Engine {
  if (e.faults.length > 0) throw new Error(e.faults.join('\n'))
  return e
}

const commissioned = (site: Site, parts: readonly { readonly values: Float64Array; readonly signal: Signal; readonly kind: Kind }[], first: number) =>
  parts.flatMap((p) =>
    limitAlarms(
      site.id,
      p.signal,
      p.kind,
      [...p.values.subarray(0, first)].filter((v) => v >= p.signal.range[0] && v <= p.signal.range[1]),
    ),
  )

function siteOf(s: Series): Site {
  const every = `${s.everyMs / 1000}s`
  const signals = s.columns.map((c) => {
    const k: Kind = KINDS[c.kind]
    return `  tu.${c.name}: { quantity: ${k.quantity}${k.range ? `, range: [${k.range.join(', ')}]` : ''} }\n`
  })
  const r = readSiteFile(
    `${s.name}.yaml`,
    `id: ${s.name}\nname: ${s.name}\nzone: UTC\nsampleEvery: ${every}\nreportEvery: ${every}\ntrain:\n  - { stage: treatment, volumeL: 2300 }\nsignals:\n${signals.join('')}`,
  )
  if (!r.ok) throw new Error(r.faults.map(faultText).join('\n'))
  return r.site
}
