/** Figures on measured data as plain text: the second part of the console table, and tests/detection/TABLE-REAL.md. */
import { controls, figures, onlyBy, points, ruleOf, signalMonths, type Figures, type Points } from './real-figures.ts'
import { KINDS, PACES, type Kind } from './real-kinds.ts'
import { runOf, type RealRun } from './real-run.ts'
import { isHere, SETS } from './real-sets.ts'
import { explains, foundBy } from './score.ts'
import { head, ratio, row, span } from './table.ts'

const RANDOM_TRIES = 50
const MONTH_H = (365.25 / 12) * 24
const RULES = ['limit', 'rate', 'stuck', 'deviation', 'drift', 'checks'] as const

const n2 = (v: number | null): string => (v === null ? 'none' : v.toFixed(2))
const share = (a: number, b: number): string => (b === 0 ? 'none' : (a / b).toFixed(2))

export interface RealReport {
  readonly lines: readonly string[]
  /** Every set was here. */
  readonly whole: boolean
}

export function realReport(seed: number, say: (line: string) => void): RealReport {
  const lines: string[] = [...intro(), ...kindLines()]
  for (const set of SETS) {
    lines.push(`## ${set.name}`, '')
    if (!isHere(set)) {
      lines.push(`Skipped: ${set.needs.filter((f) => !isHere({ needs: [f] })).join(', ')} not found in ../shared/data.`, '')
      say(`${set.name}: skipped, its files are not here`)
      continue
    }
    const all = set.series().map(runOf)
    const runs = set.rules ? onlyBy(all, set.rules) : all
    const ours = figures(runs, signalMonths(runs))
    const others = controls(runs, set.tryMin, RANDOM_TRIES, seed)
    say(`${set.name}: ${ours.found} of ${ours.events} events found, ${ours.told} told, ${ours.untrue} of them unexplained`)
    lines.push(
      `Labels: ${set.labels}. ${runs.length} series, ${months(signalMonths(runs))} of signals scored.`,
      '',
      ...figureLines(ours, others, signalMonths(runs) < 0.1),
      verdict(ours, others),
      '',
      ...ruleLines(runs, set.rules),
      ...(runs.length > 1 && runs.length < 12 ? seriesLines(runs) : []),
      ...(set.rules ? [] : pointLines(runs)),
      `Why: ${set.why}`,
      '',
    )
  }
  return { lines, whole: SETS.every(isHere) }
}

const intro = (): readonly string[] => [
  '# How good rules and checks are on measured data',
  '',
  'Written by `npm run detection -- --real`. Open data that other people measured and labelled; none of it is of a wash-water loop, and labels mostly mean that an instrument was wrong, not that a plant was.',
  'Each series goes row by row through the checks of intake (thresholds as they come) and the alarm engine, with a clock moved by hand: nothing is known before it happens. Whole files; nothing is thinned. The first 15 % of a file (of 5,000 rows at most) sets the limits and is not scored.',
  'An event is a run of labelled rows, as many as there are on end. It is found when something was told between its first row and the row after its last; what already stood before does not count. Told within an hour after its end (a minute on the bench) is explained by it.',
  'Configuration: one per kind of series, stated before the first run and the same for every file; none was changed after the figures were seen. It stands in real-kinds.ts. So the figures are not the best that could be reached, but nearer to what a new loop gets.',
  'Settled after a first run: in the last set only drift and deviation count, because checks of another matter had been taken for finds there; and bouts are given beside events.',
  'F1 (of events found and of precision) stands beside the controls; the cost of TABLE.md is not used, as its weights are of faults of a loop.',
  'Data: SKAB (GPL-3.0), NAB (MIT), mowater (MIT), SWMPr (CC0; NOAA NERRS), the Logan river from pyhydroqc (BSD-3-Clause). None of it is kept here.',
  '',
]

function kindLines(): readonly string[] {
  const time = (ms: number): string => span(ms).replace(/\.0/g, '')
  return [
    '## Configuration',
    '',
    'Limit: median of the first part, plus and minus the greater of 6 robust deviations and one step, 3 of 5 rows. Rate: one step between the outer thirds of the span. Stuck: less than the resolution for the span. Deviation: two steps from the own median. Drift: one step per span, sure to 95 %. Common practice, no source.',
    '',
    ...head('kind', 'step', 'rate over', 'stuck for', 'own median of', 'drift over'),
    ...Object.entries(KINDS).map(([name, k]: readonly [string, Kind]) => {
      const p = PACES[k.pace]
      return row(name, `${k.step}`, time(p.rateMs), time(p.stillMs), time(p.medianMs), k.drifts ? time(p.driftMs) : 'off')
    }),
    '',
    'Steps in pH, mg/L, uS/cm, NTU, degC, A, mbar, V and L/min.',
    '',
  ]
}

const months = (m: number): string => (m < 0.1 ? `${(m * MONTH_H).toFixed(1)} hours` : `${m.toFixed(1)} months`)

function figureLines(ours: Figures, others: Readonly<Record<string, Figures>>, brief: boolean): readonly string[] {
  const columns = [['ours', ours] as const, ...Object.entries(others)]
  const figure = (name: string, read: (f: Figures) => string): string => row(name, ...columns.map(([, f]) => read(f)))
  return [
    ...head('figure', ...columns.map(([name]) => name)),
    figure('events found', (f) => ratio(f.found, f.events)),
    figure('bouts found (events less than 6 h apart are one)', (f) => ratio(f.boutsFound, f.bouts)),
    figure('delay, median', (f) => span(f.medianDelayMs)),
    figure('told', (f) => f.told.toFixed(0)),
    figure('of these no event behind', (f) => f.untrue.toFixed(0)),
    brief
      ? figure('false per signal-hour', (f) => n2(f.untruePerMonth / MONTH_H))
      : figure('false per signal-month', (f) => f.untruePerMonth.toFixed(f.untruePerMonth < 100 ? 2 : 0)),
    figure('precision', (f) => n2(f.precision)),
    figure('chatter (3 in 60 min)', (f) => f.chatters.toFixed(0)),
    figure('**F1 (more is better)**', (f) => `**${f.f1.toFixed(2)}**`),
    '',
  ]
}

function verdict(ours: Figures, others: Readonly<Record<string, Figures>>): string {
  const ahead = Object.entries(others).filter(([, f]) => f.f1 >= ours.f1)
  return ahead.length === 0 ? 'Better than all four controls.' : `NOT better than: ${ahead.map(([name]) => name).join('; ')}.`
}

/** Which rule spoke, and what for. */
function ruleLines(runs: readonly RealRun[], asked: readonly string[] | undefined): readonly string[] {
  const out = [...head('rule', 'told', 'no event behind', 'events found', 'found first')]
  for (const rule of RULES.filter((x) => asked?.includes(x) ?? true)) {
    const f = figures(onlyBy(runs, [rule]), 1)
    const firsts = runs.reduce((n, r) => n + r.labels.filter((l) => l.seen === 'yes' && ruleOf(foundBy(l, r.told).by ?? { alarm: '' }) === rule).length, 0)
    out.push(row(rule === 'checks' ? 'checks of intake' : rule, String(f.told), String(f.untrue), ratio(f.found, f.events), String(firsts)))
  }
  return [...out, '']
}

function seriesLines(runs: readonly RealRun[]): readonly string[] {
  return [
    ...head('series', 'events found', 'delay, median', 'told', 'no event behind', 'by'),
    ...runs.map((r) => {
      const f = figures([r], 1)
      const by = new Map<string, number>()
      for (const a of r.told.filter((x) => !r.labels.some((l) => explains(l, x)))) by.set(short(a.alarm), (by.get(short(a.alarm)) ?? 0) + 1)
      const most = [...by].sort((a, b) => b[1] - a[1]).slice(0, 4)
      return row(r.site, ratio(f.found, f.events), span(f.medianDelayMs), String(f.told), String(f.untrue), most.map(([k, n]) => `${k} x${n}`).join(', '))
    }),
    '',
  ]
}

const short = (alarm: string): string => alarm.slice(alarm.indexOf('/tu.') + 4)

function pointLines(runs: readonly RealRun[]): readonly string[] {
  const line = (name: string, p: Points): string => row(name, String(p.flagged), share(p.both, p.wrong), share(p.both, p.flagged))
  const checks = points(runs, (r) => [r.doubted])
  const both = points(runs, (r) => [r.doubted, r.standing])
  return [
    `Row by row, ${checks.rows} rows, ${checks.wrong} of them called wrong by people:`,
    '',
    ...head('rows flagged by', 'rows', 'recall', 'precision'),
    line('checks of intake', checks),
    line('checks, or an alarm stands', both),
    row('never', '0', '0.00', 'none'),
    row('always', String(checks.rows), '1.00', share(checks.wrong, checks.rows)),
    row('as many as checks or alarms, at random', String(both.flagged), share(both.flagged, both.rows), share(both.wrong, both.rows)),
    '',
  ]
}
