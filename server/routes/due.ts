import { z } from 'zod'
import { dueBodyOf, dueCsv, fleetDueBodyOf } from '../bodies/due.ts'
import { dueBody, fleetDueBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { loopOf } from './known.ts'
import { row, textRow } from './row.ts'

const ofLoop = z.strictObject({ site: siteField.optional() })

export const dueRows = [
  row({
    method: 'GET',
    path: '/api/loops/:site/due',
    summary:
      'Work with a date on a loop (stocks, services, probes, proofs of protections, kit values, review of its alarms), overdue first, each with why and what to bring; and its local protections, when each was proved and how. It calls nobody.',
    params: z.strictObject({ site: siteField }),
    reply: dueBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { params, nowMs }) {
      const { site } = loopOf(gateway, params.site)
      const due = (await gateway.due(params.site)) ?? { site: params.site, atMs: nowMs, items: [], proofs: [] }
      return dueBodyOf(site, due, gateway.alarmsOf(params.site))
    },
  }),
  row({
    method: 'GET',
    path: '/api/due',
    summary: 'The due lists of all loops, or of one, as last worked out: overdue by date, then what nobody knows the last time of, then what comes.',
    query: ofLoop,
    reply: fleetDueBody,
    faults: ['unknown-loop'],
    answer({ gateway }, { query, nowMs }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      return fleetDueBodyOf(gateway.sites(), gateway.dueEverywhere(), nowMs, query.site ?? null)
    },
  }),
  textRow('text/csv; charset=utf-8; header=present', {
    method: 'GET',
    path: '/api/due.csv',
    summary: 'The same as CSV, a line for each thing due.',
    query: ofLoop,
    faults: ['unknown-loop'],
    answer({ gateway }, { query, nowMs, setHeader }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      setHeader('content-disposition', 'attachment; filename="due.csv"')
      return pieces(dueCsv(fleetDueBodyOf(gateway.sites(), gateway.dueEverywhere(), nowMs, query.site ?? null)))
    },
  }),
]

async function* pieces(lines: Iterable<string>): AsyncGenerator<string> {
  yield* lines
}
