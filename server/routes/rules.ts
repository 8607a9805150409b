import { z } from 'zod'
import type { GatewayPort } from '../../gateway/port.ts'
import { recordsOf, rulesBodyOf, rulesCsvHead, rulesCsvLine } from '../bodies/rules.ts'
import { rulesBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { loopOf } from './known.ts'
import { row, textRow } from './row.ts'

export const ruleRows = [
  row({
    method: 'GET',
    path: '/api/rules/:site',
    summary:
      'Every alarm of a loop with its record: cause, consequence, action, time to respond, priority and why, limit in words and its basis, expected delay, local protection, shelving, owner and review.',
    params: z.strictObject({ site: siteField }),
    reply: rulesBody,
    faults: ['unknown-loop'],
    answer({ gateway }, { params, nowMs }) {
      const { site } = loopOf(gateway, params.site)
      return rulesBodyOf(site, gateway.alarmsOf(params.site), dueKnown(gateway, params.site), nowMs)
    },
  }),
  textRow('text/csv; charset=utf-8; header=present', {
    method: 'GET',
    path: '/api/rules.csv',
    summary: 'The records of all alarms of one loop, or of every loop, as CSV: a line for each alarm, sent loop by loop.',
    query: z.strictObject({ site: siteField.optional() }),
    faults: ['unknown-loop'],
    answer({ gateway }, { query, setHeader }) {
      const sites = query.site === undefined ? gateway.sites().map((s) => s.site.id) : [loopOf(gateway, query.site).site.id]
      setHeader('content-disposition', 'attachment; filename="alarm-rules.csv"')
      return lines(gateway, sites)
    },
  }),
]

const dueKnown = (gateway: GatewayPort, site: string) => gateway.dueEverywhere().find((d) => d.site === site) ?? null

async function* lines(gateway: GatewayPort, sites: readonly string[]): AsyncGenerator<string> {
  yield rulesCsvHead
  for (const id of sites) {
    const site = gateway.site(id)?.site
    if (site) yield recordsOf(site, gateway.alarmsOf(id), dueKnown(gateway, id)).map(rulesCsvLine).join('')
  }
}
