/** A measured figure beside a baseline measured in the same run, and how it is printed: a table for people, then one JSON line each. */
export interface Figure {
  /** `<subject>.<what>` */
  readonly bench: string
  readonly value: number
  readonly unit: string
  /** The same task done the plain way, in the same run; null: there is none. */
  readonly baseline: number | null
  /** What the project asks of `value`; null: nothing. */
  readonly target: number | null
  /** Which way is better. */
  readonly better: 'more' | 'less'
  /** How many of what it was taken over. */
  readonly n: string
}

/** How many times better than the baseline. */
export function ratioOf(f: Figure): number | null {
  if (f.baseline === null || f.baseline === 0 || f.value === 0) return null
  return f.better === 'more' ? f.value / f.baseline : f.baseline / f.value
}

export function printFigures(figures: readonly Figure[]): void {
  const rows = figures.map((f) => {
    const ratio = ratioOf(f)
    const met = f.target === null ? '' : (f.better === 'more' ? f.value >= f.target : f.value <= f.target) ? 'met' : 'missed'
    return [
      f.bench,
      short(f.value),
      f.unit,
      f.baseline === null ? '-' : short(f.baseline),
      ratio === null ? '-' : `${short(ratio)} x`,
      f.target === null ? '-' : `${f.better === 'more' ? '>=' : '<='} ${short(f.target)}`,
      met,
      f.n,
    ]
  })
  const head = ['figure', 'value', 'unit', 'baseline', 'better by', 'target', '', 'over']
  const widths = head.map((h, i) => Math.max(h.length, ...rows.map((r) => r[i]?.length ?? 0)))
  for (const row of [head, ...rows])
    console.log(
      row
        .map((cell, i) => (i === 0 || i >= 6 || i === 2 ? cell.padEnd(widths[i] ?? 0) : cell.padStart(widths[i] ?? 0)))
        .join('  ')
        .trimEnd(),
    )
  for (const f of figures)
    console.log(
      JSON.stringify({
        bench: f.bench,
        value: rounded(f.value),
        unit: f.unit,
        baseline: f.baseline === null ? null : rounded(f.baseline),
        ratio: rounded(ratioOf(f)),
        target: f.target,
      }),
    )
}

const rounded = (v: number | null): number | null => (v === null ? null : Number(v.toPrecision(4)))
const short = (v: number): string => (Math.abs(v) >= 1_000 ? Math.round(v).toLocaleString('en-US') : String(rounded(v)))

export function median(all: readonly number[]): number {
  const ascending = [...all].sort((a, b) => a - b)
  return ascending[ascending.length >> 1] ?? Number.NaN
}
