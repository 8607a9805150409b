/**
 * `npm run detection [-- --days 90] [--seed 1] [--full] [--quick] [--real] [--no-write] [--only LOOP,LOOP] [--processes 2]`: plants faults and look-alikes on twelve simulated loops, tells them
 * through the real path, and prints how good the alarms were, beside controls that any method has to beat.
 * Then the same on open measured data with labels of other people; `--real`: that alone.
 */
import { writeFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { parseArgs } from 'node:util'
import { loadFleet } from '../../simulator/fleets/load.ts'
import type { LoopRun } from './label.ts'
import { plan } from './plan.ts'
import { driveAll } from './pool.ts'
import { realReport } from './real-table.ts'
import { report } from './table.ts'
import { WEIGHTS } from './score.ts'

/** A spring in the north; whatever the day of the run, the figures are the same. */
const FROM_MS = Date.UTC(2026, 2, 1)

const { values } = parseArgs({
  options: {
    days: { type: 'string', default: '90' },
    seed: { type: 'string', default: '1' },
    quick: { type: 'boolean', default: false },
    full: { type: 'boolean', default: false },
    real: { type: 'boolean', default: false },
    'no-write': { type: 'boolean', default: false },
    processes: { type: 'string', default: '2' },
    /** Ids of loops, with commas between: only these are driven, planted as in a whole run. */
    only: { type: 'string' },
    json: { type: 'string' },
  },
})
const days = values.quick ? 12 : Number(values.days)
const seed = Number(values.seed)
if (!Number.isInteger(days) || days < 8 || days > 400) throw new Error(`--days is ${values.days}: a whole number from 8 to 400 is needed`)
if (!Number.isInteger(seed) || seed < 0) throw new Error(`--seed is ${values.seed}: a whole number from 0 on is needed`)

const began = performance.now()
if (values.real) {
  measured()
  process.exit()
}
const fleet = loadFleet('twelve', seed)
const all = fleet.specs.map((s) => s.site)
const sites = values.quick ? all.filter((s) => ['fallowmere-machinery-ring', 'mossgill-slate-works', 'larkspit-container-park'].includes(s.id)) : all
const plans = plan(sites, FROM_MS, days, seed)
const jobs = plans.map((p) => ({ site: p.site, plan: p, fromMs: FROM_MS, days, seed, thin: !values.full }))
// The dearest first, so that the two processes end together.
const cost = { rich: 0, normal: 1, poor: 2 }
const levelOf = new Map(all.map((s) => [s.id, s.instrumentation]))
jobs.sort((a, b) => cost[levelOf.get(a.site) ?? 'poor'] - cost[levelOf.get(b.site) ?? 'poor'])
const only = values.only?.split(',')
const done: LoopRun[] = []
const runs = await driveAll(only ? jobs.filter((j) => only.includes(j.site)) : jobs, Number(values.processes), (line, run) => {
  console.error(line)
  done.push(run)
  if (values.json !== undefined) writeFileSync(values.json, JSON.stringify(done))
})

const r = report(runs, seed)
const text = [
  '# How good the alarms are',
  '',
  `Written by \`npm run detection -- --days ${days} --seed ${seed}\`: ${runs.length} simulated loops for ${days} days each, ${r.ours.faults} faults and ${r.ours.alikes} look-alikes planted by a seed, one configuration for all loops (the default alarms).`,
  'Told through the real path: simulated instruments with the wear of the field, payload bytes, intake and its checks, the embedded history, vitals, alarm engine, journal; the clock is moved by hand, ten seconds at a time, and nothing is known before it happens.',
  'Left out is the socket between controller and broker: the bytes go to intake the way the own broker hands them over. A socket decides nothing, and tests of their own drive it.',
  values.full ? 'Rich loops write every ten seconds.' : 'Rich loops write a row a minute instead of six (`--full`: all six, three times the time).',
  'Faults are not mended when an alarm is told, so that the figures do not depend on how quick people are; every alarm is answered after 30 min.',
  'The loops are simulated by a model of our own: figures on real loops will be worse, and limits are not tuned on real data.',
  `Cost per loop-year = ${WEIGHTS.faultsPerLoopYear} faults a year x (${WEIGHTS.missed} if an observable one is missed, else ${WEIGHTS.late} x delay / time during which telling helps) + ${WEIGHTS.falseWake} x false wakes + ${WEIGHTS.falseItem} x day-list items without a fault. Weights are ours.`,
  'Definitions stand in score.ts, faults and what each level can see in scenarios.ts, which alarm names which trouble in groups.ts.',
  '',
  ...r.lines,
  '## Counters and troubles of the gateways',
  '',
  `${sum('intakeMessages')} messages, ${sum('readingsStored')} readings stored, ${sum('readingsRejected')} rejected, ${sum('alarmEvents')} alarm changes written, ${sum('journalMerged')} merged.`,
  ...runs.flatMap((x) => x.troubles.map((t) => `- ${x.site}: ${t}`)),
  '',
].join('\n')
console.log(text)
console.log(r.beatsAll ? 'Cheaper than all four controls.' : 'NOT cheaper than all four controls.')
if (!values.quick && !only && !values['no-write']) writeFileSync(fileURLToPath(new URL('TABLE.md', import.meta.url)), text)
if (!values.quick && !only) measured()
console.error(`${Math.round((performance.now() - began) / 1000)} s`)

function sum(name: string): number {
  return runs.reduce((s, x) => s + (x.counters[name] ?? 0), 0)
}

function measured(): void {
  const real = realReport(seed, (line) => console.error(line))
  const lines = real.lines.join('\n')
  console.log(lines)
  if (!real.whole) console.error('Some data are not here: TABLE-REAL.md stays as it is.')
  else if (!values['no-write']) writeFileSync(fileURLToPath(new URL('TABLE-REAL.md', import.meta.url)), lines)
}
