/** A vector put to the series form and to the live form. Takes the modules, so that changed ones can be tried. */
import type { CheckRow } from '../../gateway/intake/qartod-series.ts'
import type { CheckSpec } from '../../gateway/intake/qartod-spec.ts'
import type { TestFlags } from '../../gateway/intake/qartod.ts'
import type { QcFlag } from '../../gateway/site/reading.ts'
import type { Vector } from './qartod-cases.ts'

export interface Forms {
  readonly series: typeof import('../../gateway/intake/qartod-series.ts')
  readonly stream: typeof import('../../gateway/intake/qartod-stream.ts')
  readonly words: typeof import('../../gateway/intake/qartod.ts')
}

export function bySeries(f: Forms, v: Vector): readonly QcFlag[] {
  const { series } = f
  const { rows, spec } = v
  switch (v.test) {
    case 'gross':
      return series.grossRange(rows, spec.gross)
    case 'spike':
      return spec.spike ? series.spikes(rows, spec.spike, spec.intervalMs) : []
    case 'rate':
      return spec.rate ? series.rates(rows, spec.rate, spec.spread, spec.intervalMs) : []
    case 'flat':
      return spec.flat ? series.flatLine(rows, spec.flat, spec.intervalMs) : []
    case 'attenuated':
      return spec.attenuated ? series.attenuated(rows, spec.attenuated) : []
    case 'aggregate':
      return series.aggregateSeries(v.several)
  }
}

/** Flags of every row once all are in: what the live form said at first, with its corrections put in place. */
export function liveFlags(f: Pick<Forms, 'stream'>, rows: readonly CheckRow[], spec: CheckSpec): readonly TestFlags[] {
  const said = new Map<number, TestFlags>()
  let state = f.stream.unchecked
  for (const row of rows) {
    const c = f.stream.checkRow(state, row, spec)
    state = c.state
    said.set(row.atMs, c.tests)
    if (c.correction) said.set(c.correction.atMs, c.correction.tests)
  }
  return rows.map((r) => said.get(r.atMs) ?? 0)
}

export function byStream(f: Forms, v: Vector): readonly QcFlag[] {
  const { test } = v
  if (test === 'aggregate') throw new Error('aggregate vectors are flags, not readings')
  return liveFlags(f, v.rows, v.spec).map((t) => f.words.flagOf(t, test) ?? 2)
}
