/** Answers of InfluxQL, from whatever JSON came to rows of numbers. */
import { z } from 'zod'
import { HistoryRefused } from './refused.ts'

const cell = z.union([z.number(), z.null()])

export interface Rows {
  readonly tags?: Readonly<Record<string, string>> | undefined
  readonly columns: readonly string[]
  /** Time first, ms; null: the field is absent. */
  readonly values: readonly (readonly (number | null)[])[]
}

const answer = z.object({
  error: z.string().optional(),
  results: z
    .array(
      z.object({
        error: z.string().optional(),
        series: z.array(z.object({ tags: z.record(z.string(), z.string()).optional(), columns: z.array(z.string()), values: z.array(z.unknown()) })).optional(),
      }),
    )
    .optional(),
})

/** Series of each of `statements` statements, in order. Throws HistoryRefused with what the server said. */
export function resultsOf(json: unknown, statements: number): Rows[][] {
  const read = answer.safeParse(json)
  if (!read.success) throw new HistoryRefused('DOWN', 'the answer to a query is none of InfluxDB: see what listens at its address')
  const results = read.data.results ?? []
  const error = read.data.error ?? results.find((r) => r.error !== undefined && r.error !== 'not executed')?.error
  // The database comes with the first reading: until then there is none to be found.
  if (error?.startsWith('database not found') === true) return Array.from({ length: statements }, () => [])
  if (error !== undefined) throw new HistoryRefused('DOWN', `the history query was refused: ${error}`)
  return Array.from({ length: statements }, (_, i) => (results[i]?.series ?? []).map((s) => ({ tags: s.tags, columns: s.columns, values: s.values as Rows['values'] })))
}

/** `cell` checks one row; the rest came from the same hand. */
export function asRows(series: Rows | undefined): Rows['values'] {
  if (!series) return []
  const first = series.values[0]
  if (first !== undefined && !z.array(cell).safeParse(first).success) throw new HistoryRefused('DOWN', `a history query gave ${JSON.stringify(first)}, which are not numbers`)
  return series.values
}

/** How to take named columns from a row; a column that is not there is null. */
export function columnsOf<T extends string>(
  series: Rows,
  names: readonly T[],
): { at: (row: readonly (number | null)[]) => number; number: (row: readonly (number | null)[], name: T) => number | null } {
  const places = new Map(names.map((name) => [name, series.columns.indexOf(name)]))
  const time = series.columns.indexOf('time')
  return {
    at: (row) => row[time] ?? 0,
    number: (row, name) => {
      const v = row[places.get(name) ?? -1]
      return typeof v === 'number' ? v : null
    },
  }
}
