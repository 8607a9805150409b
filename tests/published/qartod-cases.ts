/** The published quality vectors, read from the file beside this one, and how each is put to our functions. */
import { readFileSync } from 'node:fs'
import { z } from 'zod'
import type { CheckRow } from '../../gateway/intake/qartod-series.ts'
import type { CheckSpec, FlatSpec } from '../../gateway/intake/qartod-spec.ts'
import type { QcFlag } from '../../gateway/site/reading.ts'

const flag = z.union([z.literal(1), z.literal(2), z.literal(3), z.literal(4), z.literal(9)])
const flags = z.array(flag)
const series = z.array(z.number().nullable())
const pair = z.tuple([z.number(), z.number()])
const base = { id: z.string(), in: series, out: flags, untested: z.array(z.number()).default([]), rounded: z.array(z.number()).default([]), note: z.string().optional() }
const limits = { suspect: z.number().nullable(), fail: z.number().nullable() }
const at = { stepSec: z.number() }

export const FILE = z
  .strictObject({
    source: z.string().min(80),
    ours: z.string(),
    own: z.array(z.string()),
    grossRange: z.array(z.strictObject({ ...base, fail: pair, suspect: pair })),
    spikeAverage: z.array(z.strictObject({ ...base, ...limits })),
    spikeDifferential: z.array(z.strictObject({ ...base, ...limits })),
    rateOfChange: z.array(z.strictObject({ ...base, ...at, suspectPerSec: z.number().nullable(), failPerSec: z.number().nullable() })),
    flatLine: z.array(z.strictObject({ ...base, ...at, suspectSec: z.number(), failSec: z.number(), tol: z.number(), minSamples: z.number() })),
    attenuated: z.array(
      z.strictObject({
        ...base,
        method: z.enum(['std', 'range']),
        suspect: z.number(),
        fail: z.number(),
        stepSec: z.number().optional(),
        windowSec: z.number().optional(),
        minObs: z.number().optional(),
      }),
    ),
    aggregate: z.array(z.strictObject({ id: z.string(), in: z.array(flags), out: flags })),
    digest: z.strictObject({
      'FL-6': z.strictObject({ what: z.string(), in: series, out: flags }),
      'IR-1': z.strictObject({ what: z.string(), timesSec: z.array(z.number()), reference: flags }),
      'TG-1': z.strictObject({ what: z.string(), limitSec: z.number(), in: z.array(z.number()), reference: flags }),
    }),
  })
  .parse(JSON.parse(readFileSync(new URL('./qartod-vectors.json', import.meta.url), 'utf8')))

export const rowsOf = (values: readonly (number | null)[], stepSec: number): readonly CheckRow[] => values.map((value, i) => ({ atMs: i * stepSec * 1000, value }))

/** Gross range so wide that nothing fails it, and no other test. */
export const bare = (intervalSec: number, over: Partial<CheckSpec> = {}): CheckSpec => ({
  intervalMs: intervalSec * 1000,
  gross: { sensor: [-1e300, 1e300], user: null },
  spike: null,
  rate: null,
  spread: null,
  flat: null,
  attenuated: null,
  multivariate: null,
  neighbour: null,
  ...over,
})

export const flatSpec = (over: Partial<FlatSpec> = {}): FlatSpec => ({
  tol: 0.01,
  suspectMs: 3_000_000,
  failMs: 4_800_000,
  minSamples: 3,
  ends: { low: null, high: null },
  moves: [],
  runWhen: null,
  ...over,
})

export interface Vector {
  readonly id: string
  readonly test: 'gross' | 'spike' | 'rate' | 'flat' | 'attenuated' | 'aggregate'
  readonly rows: readonly CheckRow[]
  readonly spec: CheckSpec
  /** As published, with the differences the file names. */
  readonly expected: readonly QcFlag[]
  /** The aggregate vectors only. */
  readonly several: readonly (readonly QcFlag[])[]
  /** Statistic of the whole series: known only when it is over, so there is no live form. */
  readonly whole: boolean
}

interface Published {
  readonly id: string
  readonly in: readonly (number | null)[]
  readonly out: readonly QcFlag[]
  readonly untested: readonly number[]
  readonly rounded: readonly number[]
}

/** What ours must say: the published flags, but for the differences the file names; one that does not differ is an error. */
function expectedOf(v: Published): readonly QcFlag[] {
  const differing = (marked: readonly number[], reference: QcFlag): void => {
    for (const i of marked) if (v.out[i] !== reference) throw new Error(`${v.id}: the reference says ${v.out[i]} of reading ${i}, not ${reference}`)
  }
  differing(v.untested, 1)
  differing(v.rounded, 4)
  return v.out.map((f, i): QcFlag => (v.untested.includes(i) ? 2 : v.rounded.includes(i) ? 3 : f))
}

const vector = (v: Published, test: Vector['test'], stepSec: number, over: Partial<CheckSpec>): Vector => ({
  id: v.id,
  test,
  rows: rowsOf(v.in, stepSec),
  spec: bare(stepSec, over),
  expected: expectedOf(v),
  several: [],
  whole: false,
})

export const VECTORS: readonly Vector[] = [
  ...FILE.grossRange.map((v) => vector(v, 'gross', 60, { gross: { sensor: v.fail, user: v.suspect } })),
  ...FILE.spikeAverage.map((v) => vector(v, 'spike', 60, { spike: { method: 'average', suspect: v.suspect, fail: v.fail } })),
  ...FILE.spikeDifferential.map((v) => vector(v, 'spike', 60, { spike: { method: 'differential', suspect: v.suspect, fail: v.fail } })),
  ...FILE.rateOfChange.map((v) => vector(v, 'rate', v.stepSec, { rate: { slack: 0, suspectPerS: v.suspectPerSec, failPerS: v.failPerSec, deviations: null } })),
  ...FILE.flatLine.map((v) => vector(v, 'flat', v.stepSec, { flat: flatSpec({ tol: v.tol, suspectMs: v.suspectSec * 1000, failMs: v.failSec * 1000, minSamples: v.minSamples }) })),
  ...FILE.attenuated.map((v) => ({
    ...vector(v, 'attenuated', v.stepSec ?? 60, {
      attenuated: {
        method: v.method === 'std' ? ('sd' as const) : ('range' as const),
        suspect: v.suspect,
        fail: v.fail,
        overMs: v.windowSec === undefined ? null : v.windowSec * 1000,
        minSamples: v.minObs ?? 1,
      },
    }),
    whole: v.windowSec === undefined,
  })),
  ...FILE.aggregate.map((v): Vector => ({ id: v.id, test: 'aggregate', rows: [], spec: bare(60), expected: v.out, several: v.in, whole: false })),
]

/** Readings whose flag is not the one expected, `3: 1 for 2`, counted from 0; empty: none. */
export function differences(ours: readonly QcFlag[], expected: readonly QcFlag[]): readonly string[] {
  return Array.from({ length: Math.max(ours.length, expected.length) }, (_, i) => i).flatMap((i) =>
    ours[i] === expected[i] ? [] : [`${i}: ${ours[i] ?? 'none'} for ${expected[i] ?? 'none'}`],
  )
}
