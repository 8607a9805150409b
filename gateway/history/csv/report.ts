/** What became of a file, as text for a person. */
import type { ImportTally } from './tally.ts'
import type { ImportPlan } from './plan.ts'

const HEAD = ['signal', 'stored', 'repeated', 'differing', 'good', 'uncertain', 'bad', 'first', 'last', 'lowest', 'highest', 'unit'] as const

/** Lines of the report. `dry`: nothing was written. */
export function importReport(tally: ImportTally, plan: ImportPlan, dry: boolean): string {
  const out: string[] = []
  const rows: string[][] = []
  const sums = { stored: 0, duplicate: 0, differing: 0, good: 0, uncertain: 0, bad: 0 }
  for (const [key, t] of tally.series) {
    const unit = plan.series().find((s) => s.track.spec.key === key)?.track.spec.unit ?? ''
    const figures = t.min <= t.max ? [figure(t.min), figure(t.max)] : ['-', '-']
    rows.push([key, t.stored, t.duplicate, t.differing, t.good, t.uncertain, t.bad, time(t.firstMs), time(t.lastMs), ...figures, unit].map(String))
    for (const name of Object.keys(sums) as (keyof typeof sums)[]) sums[name] += t[name]
  }
  if (rows.length > 1) rows.push(['all', ...Object.values(sums).map(String), '', '', '', '', ''])
  if (rows.length > 0) out.push(...table([[...HEAD], ...rows]))
  for (const f of tally.faults) out.push(`line ${f.line}: ${f.what}`)
  if (tally.refused > tally.faults.length) out.push(`... and ${tally.refused - tally.faults.length} more that could not be used`)
  if (tally.doubled > 0) out.push(`${tally.doubled} rows lie in the hour the wall clock shows twice in autumn; they were told apart by their order`)
  if (tally.missing > 0) out.push(`${tally.missing} rows lie in the hour the wall clock leaves out in spring; they were taken as if it had not been put forward`)
  if (plan.left.length > 0) out.push(`columns not taken: ${plan.left.join(', ')}`)
  if (tally.left.size > 0) out.push(`names not taken: ${[...tally.left].map(([name, n]) => `${name} (${n} readings)`).join(', ')}`)
  const made = dry ? 'would be stored (dry run: nothing was written)' : 'stored'
  out.push(
    `${tally.rows} rows in ${plan.form} form: ${sums.stored} readings ${made}, ${sums.duplicate} repeated, ${sums.differing} differing from what is held, ${tally.empty} cells without a reading, ${tally.refused} refused`,
  )
  if (sums.differing > 0) out.push('A differing value does not replace the one that is held: it is kept beside it as a correction')
  return `${out.join('\n')}\n`
}

const time = (ms: number): string => new Date(ms).toISOString().replace('.000Z', 'Z')
const figure = (n: number): string => String(Number(n.toPrecision(6)))

function table(rows: readonly (readonly string[])[]): string[] {
  const widths = HEAD.map((_, i) => Math.max(...rows.map((r) => r[i]?.length ?? 0)))
  const isText = (i: number): boolean => i === 0 || i === 7 || i === 8 || i === 11
  return rows.map((r) =>
    r
      .map((c, i) => (isText(i) ? c.padEnd(widths[i] ?? 0) : c.padStart(widths[i] ?? 0)))
      .join('  ')
      .trimEnd(),
  )
}
