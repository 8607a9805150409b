/** A view of trends as its address says it, so that a link shows another person the same picture. Pure. */
import type { LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { compareOf, compareText, type Compare } from './trend-compare.ts'
import type { Span } from './trend.ts'

export interface View {
  /** Ids as asked for; `<loop>/<signal>` for one of another loop. Empty: the usual ones. */
  readonly signals: readonly string[]
  /** A width in ms follows the present; null: the usual width. */
  readonly span: Span | number | null
  /** Times by the reader's own clock instead of the site's. */
  readonly mine: boolean
  readonly compare: Compare | null
  /** Drift and steps over the lanes. */
  readonly courses: boolean
  readonly table: boolean
  readonly figures: boolean
}

export function viewOf(query: URLSearchParams, span: Span, follows: boolean): View {
  const shown = (query.get('show') ?? '').split(',')
  return {
    signals: [...new Set((query.get('signals') ?? '').split(',').filter(Boolean))],
    span: follows ? (query.has('span') ? span.toMs - span.fromMs : null) : span,
    mine: query.get('zone') === 'mine',
    compare: compareOf(query.get('with')),
    courses: shown.includes('drift'),
    table: shown.includes('table'),
    figures: shown.includes('figures'),
  }
}

/** The query part of an address, without its question mark. */
export function viewText(v: View): string {
  const p = new URLSearchParams()
  if (v.signals.length > 0) p.set('signals', v.signals.join(','))
  if (typeof v.span === 'number') p.set('span', String(Math.round(v.span)))
  else if (v.span !== null) {
    p.set('from', String(Math.round(v.span.fromMs)))
    p.set('to', String(Math.round(v.span.toMs)))
  }
  if (v.compare) p.set('with', compareText(v.compare))
  if (v.mine) p.set('zone', 'mine')
  const shown = [v.courses && 'drift', v.figures && 'figures', v.table && 'table'].filter(Boolean)
  if (shown.length > 0) p.set('show', shown.join(','))
  return p.toString().replaceAll('%2C', ',').replaceAll('%2F', '/').replaceAll('%3A', ':')
}

/** Where a signal of a view is kept: its loop and its id there. */
export function placeOf(id: string, home: string): { readonly site: string; readonly signal: string } {
  const slash = id.indexOf('/')
  return slash < 0 ? { site: home, signal: id } : { site: id.slice(0, slash), signal: id.slice(slash + 1) }
}

/** The other way round: short where it is of the loop of the page. */
export const idIn = (home: string, site: string, signal: string): string => (site === home ? signal : `${site}/${signal}`)

/** Loops that are looked into beside the one of the page. */
export const guests = (ids: readonly string[], home: string): readonly string[] => [...new Set(ids.map((id) => placeOf(id, home).site))].filter((s) => s !== home)

/** Signals of all loops of a view by their id in it; those of others carry the name of their loop, and a loop that is not known yet gives none. */
export function signalsIn(ids: readonly string[], home: LoopDetailBody, others: ReadonlyMap<string, LoopDetailBody>): readonly SignalBody[] {
  const taken = new Set<string>()
  return ids.flatMap((id) => {
    const { site, signal } = placeOf(id, home.id)
    const own = site === home.id
    const loop = own ? home : others.get(site)
    const found = loop?.signals.find((s) => s.id === signal)
    const key = idIn(home.id, site, signal)
    if (!found || taken.has(key)) return []
    taken.add(key)
    return own ? [found] : [{ ...found, id: key, name: `${found.name}, ${loop?.name}` }]
  })
}

/** Keys for a file of single readings: exactly the signals shown. */
export const readingsPath = (ids: readonly string[], home: string, span: Span): string =>
  `/api/history.csv?signals=${ids
    .map((id) => placeOf(id, home))
    .map((p) => `${encodeURIComponent(p.site)}/${encodeURIComponent(p.signal)}`)
    .join(',')}&from=${Math.round(span.fromMs)}&to=${Math.round(span.toMs)}`
