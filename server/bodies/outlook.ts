/** What comes next, and what is normal, as the page and programs get it. */
import type { Expected } from '../../gateway/outlook/expected.ts'
import type { Normal } from '../../gateway/outlook/normal.ts'
import type { LoopForecasts, LoopNormals } from '../../gateway/port.ts'
import type { ForecastsBody, NormalBody } from '../wire.ts'

export const forecastsBodyOf = (site: string, f: LoopForecasts): ForecastsBody => ({ site, atMs: f.atMs, expected: f.expected.map(expectedOf) })

function expectedOf({ outlook: o, ...e }: Expected): ForecastsBody['expected'][number] {
  const told = o.kind === 'forecast' ? o : null
  return {
    id: e.id,
    what: e.what,
    stage: e.stage,
    kind: e.kind,
    says: o.kind === 'forecast' ? 'told' : o.kind === 'not-observable' ? 'withheld' : o.kind,
    lowMs: told && wholeMs(told.lowMs),
    medianMs: told && wholeMs(told.medianMs),
    highMs: told && wholeMs(told.highMs),
    untilMs: o.kind === 'beyond' ? wholeMs(o.untilMs) : null,
    from: told && told.from,
    basis: e.basis,
    left: e.left && { ...e.left },
    why: o.kind === 'not-observable' ? o.because : null,
    unlock: e.unlock,
  }
}

/** JSON would make null of an infinity in silence; here it is meant. */
const wholeMs = (ms: number): number | null => (Number.isFinite(ms) ? Math.round(ms) : null)

export const normalBodyOf = (site: string, n: LoopNormals): NormalBody => ({ site, atMs: n.atMs, paused: n.paused, signals: n.normals.map(oneOf) })

function oneOf(n: Normal): NormalBody['signals'][number] {
  const band = 'because' in n.band ? null : n.band
  return {
    id: n.id,
    band: band && { low: band.low, middle: band.middle, high: band.high, hours: band.hours, days: band.days, notCompared: [...band.notCompared] },
    why: 'because' in n.band ? n.band.because : null,
    days: n.days,
    needed: n.needed,
    first: n.first && { ...n.first },
    against: n.against && { offFirst: n.against.offCommissioning, offBand: n.against.offRolling, band: n.against.band, crept: n.against.crept },
  }
}
