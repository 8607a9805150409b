/** What is counted of a file while it is imported. */
interface SeriesTally {
  stored: number
  duplicate: number
  /** Same time, another value than is held. */
  differing: number
  good: number
  uncertain: number
  bad: number
  firstMs: number
  lastMs: number
  min: number
  max: number
}

export interface ImportTally {
  rows: number
  /** Cells that hold no reading. */
  empty: number
  /** Lines or cells that could not be used. */
  refused: number
  /** The first of them. */
  readonly faults: { readonly line: number; readonly what: string }[]
  /** Long: readings of names that are not taken, by name. */
  readonly left: Map<string, number>
  /** Rows in the hour a wall clock shows twice. */
  doubled: number
  /** Rows in the hour it leaves out. */
  missing: number
  readonly series: Map<string, SeriesTally>
}

export const newTally = (): ImportTally => ({ rows: 0, empty: 0, refused: 0, faults: [], left: new Map(), doubled: 0, missing: 0, series: new Map() })

export const newSeriesTally = (): SeriesTally => ({
  stored: 0,
  duplicate: 0,
  differing: 0,
  good: 0,
  uncertain: 0,
  bad: 0,
  firstMs: Number.POSITIVE_INFINITY,
  lastMs: Number.NEGATIVE_INFINITY,
  min: Number.POSITIVE_INFINITY,
  max: Number.NEGATIVE_INFINITY,
})
