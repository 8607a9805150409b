/**
 * What the record in InfluxDB is to keep: single readings for so long, and means over a span for so long. Worked out as steps in words
 * before anything is done; what deletes readings says how many. The steps stand in an order that loses nothing: means are made before
 * the readings they come from may go.
 */
export interface SetupAsked {
  /** Days single readings are kept; null: leave as it is. */
  readonly keepDays: number | null
  /** Span of the means, `10m` or `1h`; null: leave as it is. */
  readonly means: MeansSpan | null
  /** Days the means are kept; null: for ever. */
  readonly keepMeansDays: number | null
}

export type MeansSpan = '10m' | '1h'
export const MEANS_MS: Readonly<Record<MeansSpan, number>> = { '10m': 600_000, '1h': 3_600_000 }

export interface SetupStep {
  /** `make the ...`; without a full stop. */
  readonly what: string
  /** Readings or means that go with it; 0: none. */
  readonly deletes: number
  run(progress: (done: number, all: number) => void): Promise<void>
}

export interface SetupPlan {
  /** Which server, and how it stands, in sentences. */
  readonly name: string
  readonly stands: readonly string[]
  readonly steps: readonly SetupStep[]
}

export const DAY_MS = 86_400_000

export const daysText = (days: number | null): string => (days === null || days === 0 ? 'for ever' : days === 1 ? 'for 1 day' : `for ${Number(days.toFixed(2))} days`)
