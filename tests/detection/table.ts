/** The figures as one plain table: on the console, and as tests/detection/TABLE.md. */
import { bestElapsed, always, meanScore, never, random } from './controls.ts'
import type { Annunciation, Label, LoopRun } from './label.ts'
import { LEVELS, SCENARIOS } from './scenarios.ts'
import { explains, foundBy, isFault, quantile, score, type Score, WEIGHTS } from './score.ts'
import { wakesOf } from './wake.ts'

export const TARGETS = { recall: 0.95, falseWakes: 0.5, wakes: 1.5, items: 1 } as const
const RANDOM_TRIES = 200

export interface Report {
  readonly lines: readonly string[]
  readonly ours: Score
  /** Score of each control by its name. */
  readonly controls: Readonly<Record<string, Score>>
  readonly beatsAll: boolean
}

const n2 = (v: number | null): string => (v === null ? 'none' : v.toFixed(2))
export const span = (ms: number | null): string => {
  if (ms === null) return 'none'
  const min = ms / 60_000
  return min < 90 ? `${min.toFixed(1)} min` : min < 72 * 60 ? `${(min / 60).toFixed(1)} h` : `${(min / 1440).toFixed(1)} d`
}
export const ratio = (a: number, b: number): string => `${Math.round(a * 10) / 10}/${b}`
export const row = (...cells: readonly string[]): string => `| ${cells.join(' | ')} |`
export const head = (...cells: readonly string[]): readonly string[] => [row(...cells), row(...cells.map(() => '---'))]

export function report(runs: readonly LoopRun[], seed: number): Report {
  const ours = score(runs)
  const fixed = bestElapsed(runs)
  const controls: Record<string, Score> = {
    never: never(runs),
    'always (every report)': always(runs),
    [`every ${fixed.hours} h (cheapest of 8)`]: fixed.score,
    [`random at our rate (mean of ${RANDOM_TRIES})`]: meanScore(random(runs, RANDOM_TRIES, seed)),
  }
  const columns: readonly (readonly [string, Score])[] = [
    ...LEVELS.flatMap((level) => {
      const of = runs.filter((r) => r.level === level)
      return of.length === 0 ? [] : [[level, score(of)] as const]
    }),
    ['all', ours],
    ...Object.entries(controls),
  ]
  const figure = (name: string, read: (s: Score) => string, target = ''): string => row(name, ...columns.map(([, s]) => read(s)), target)
  const lines = [
    '## Figures',
    '',
    ...head('figure', ...columns.map(([name]) => name), 'target'),
    figure('loops', (s) => String(s.loops)),
    figure('loop-years', (s) => n2(s.loopYears)),
    figure('faults planted', (s) => String(s.faults)),
    figure('look-alikes planted', (s) => String(s.alikes)),
    figure('cannot tell (not observable there)', (s) => String(s.cannotTell)),
    figure('observable faults found', (s) => ratio(s.observableFound, s.observable)),
    figure('recall of observable faults', (s) => n2(s.recall), `>= ${TARGETS.recall}`),
    figure('partly observable, found', (s) => ratio(s.partlyFound, s.partly)),
    figure('not observable, found all the same', (s) => ratio(s.unseenFound, s.cannotTell)),
    figure('delay, median', (s) => span(s.medianDelayMs)),
    figure('delay, 90 of 100', (s) => span(s.p90DelayMs)),
    figure('air loss told in time (probed tank)', (s) => ratio(...s.airInTime), 'all'),
    figure('wakes', (s) => s.wakes.toFixed(0)),
    figure('false wakes', (s) => s.falseWakes.toFixed(0)),
    figure('false wakes per loop-year', (s) => n2(s.falseWakesPerLoopYear), `<= ${TARGETS.falseWakes}`),
    figure('true wakes per planted fault', (s) => n2(s.trueWakesPerFault)),
    figure(`all wakes per loop-year at ${WEIGHTS.faultsPerLoopYear} faults a year`, (s) => n2(s.wakesPerLoopYear), `<= ${TARGETS.wakes}`),
    figure('calls to the staffed desk, those no fault explains', (s) => `${s.calls.toFixed(0)}, ${s.falseCalls.toFixed(0)}`),
    figure('day-list items per loop-month, all', (s) => n2(s.itemsPerLoopMonth)),
    figure('day-list items per loop-month, no fault behind', (s) => n2(s.falseItemsPerLoopMonth), `<= ${TARGETS.items}`),
    figure('chatter (3 in 60 min)', (s) => s.chatters.toFixed(0)),
    figure('standing over 24 h', (s) => s.standing.toFixed(0)),
    figure('Youden: recall less share of fault-free days with a false wake', (s) => n2(s.youden)),
    figure('**cost per loop-year (less is better)**', (s) => `**${n2(s.cost)}**`),
    '',
    ...scenarioLines(runs),
    ...alarmLines(runs),
  ]
  return { lines, ours, controls, beatsAll: Object.values(controls).every((c) => ours.cost < c.cost) }
}

function scenarioLines(runs: readonly LoopRun[]): readonly string[] {
  const out = ['## Each fault', '', ...head('fault', 'what', 'level', 'observable', 'found', 'delay, median', 'first told by', 'spoke as well (consequence)')]
  for (const s of SCENARIOS.filter((x) => !x.alike))
    for (const level of LEVELS) {
      const found = runs.filter((r) => r.level === level).flatMap((r) => r.labels.filter((l) => l.scenario === s.id).map((l) => ({ ...foundBy(l, r.told), r })))
      if (found.length === 0) continue
      const [seen, why] = s.seen[level]
      const by = counted(found.flatMap((f) => (f.by ? [keyOf(f.by)] : [])))
      const also = counted(found.flatMap((f) => [...new Set(f.r.told.filter((a) => explains(f.label, a)).map(keyOf))].filter((k) => k !== (f.by && keyOf(f.by)))))
      const delays = found.flatMap((f) => f.delayMs ?? []).sort((a, b) => a - b)
      out.push(row(s.id, s.what, level, `${seen}: ${why}`, ratio(delays.length, found.length), span(quantile(delays, 0.5)), by, also))
    }
  out.push('', '## Each look-alike', '', ...head('look-alike', 'what', 'level', 'planted', 'wakes in vain', 'needless items', 'by'))
  for (const s of SCENARIOS.filter((x) => x.alike))
    for (const level of LEVELS) {
      const of = runs
        .filter((r) => r.level === level)
        .flatMap((r) => r.labels.filter((l) => l.scenario === s.id).map((l) => ({ l, told: r.told.filter((a) => within(l, a) && !explainedBy(r, a)) })))
      if (of.length === 0) continue
      const told = of.flatMap((x) => x.told)
      out.push(
        row(
          s.id,
          s.what,
          level,
          String(of.length),
          String(wakesOf(told).length),
          String(told.filter((a) => a.wokeMs === null && a.priority !== 'alert').length),
          counted(told.map(keyOf)),
        ),
      )
    }
  return [...out, '']
}

const within = (l: Label, a: Annunciation): boolean => a.toldMs >= l.onsetMs && a.toldMs <= l.explainsToMs
const explainedBy = (r: LoopRun, a: Annunciation): boolean => r.labels.some((l) => explains(l, a))
const keyOf = (a: Annunciation): string => a.alarm.slice(a.alarm.indexOf('/') + 1)

/** Each alarm: how often it spoke, how often a fault explains it, and what was there when none does. */
function alarmLines(runs: readonly LoopRun[]): readonly string[] {
  const keys = new Map<string, { told: Annunciation[]; vain: { a: Annunciation; beside: string }[]; first: number }>()
  for (const r of runs) {
    for (const a of r.told) {
      const k = keys.get(keyOf(a)) ?? { told: [], vain: [], first: 0 }
      keys.set(keyOf(a), k)
      k.told.push(a)
      if (!explainedBy(r, a)) k.vain.push({ a, beside: besides(r, a) })
    }
    for (const l of r.labels.filter(isFault)) {
      const { by } = foundBy(l, r.told)
      const k = by && keys.get(keyOf(by))
      if (k) k.first++
    }
  }
  const rows = [...keys].sort((x, y) => y[1].vain.length - x[1].vain.length || y[1].told.length - x[1].told.length)
  return [
    '## Each alarm',
    '',
    'Sorted by annunciations that no planted fault explains. "So in the water": of those, how often the plant truly stood past the limit (deadband allowed) when it was told.',
    '',
    ...head('alarm', 'names', 'priority', 'told', 'found a fault first', 'unexplained', 'of these so in the water', 'beside what', 'loops'),
    ...rows.map(([key, k]) => {
      const asked = k.vain.filter((v) => v.a.soInTruth !== null)
      const loops = counted(k.vain.map((v) => v.a.site))
      const first = k.told[0]
      return row(
        key,
        first?.trouble ?? '',
        counted(k.told.map((a) => a.priority)),
        String(k.told.length),
        String(k.first),
        String(k.vain.length),
        asked.length === 0 ? '' : ratio(asked.filter((v) => v.a.soInTruth === true).length, asked.length),
        counted(k.vain.map((v) => v.beside)),
        loops,
      )
    }),
    '',
  ]
}

/** What else was going on: a look-alike, a fault that does not account for it, or nothing. */
function besides(r: LoopRun, a: Annunciation): string {
  const near = r.labels.filter((l) => within(l, a))
  return near.length === 0 ? 'nothing planted' : near.map((l) => l.scenario).join('+')
}

function counted(all: readonly string[]): string {
  const n = new Map<string, number>()
  for (const x of all) n.set(x, (n.get(x) ?? 0) + 1)
  const most = [...n].sort((a, b) => b[1] - a[1])
  const shown = most.slice(0, 6).map(([x, k]) => (k === 1 ? x : `${x} x${k}`))
  return [...shown, ...(most.length > 6 ? [`${most.length - 6} more`] : [])].join(', ')
}
