import { z } from 'zod'
import { yardLinkBody, yardLinkMadeBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const params = z.strictObject({ site: siteField })

export const yardLinkRows = [
  row({
    method: 'GET',
    path: '/api/loops/:site/yard-link',
    summary: 'Whether the yard page of a loop has a link, since when, and who made it. The link itself is not kept.',
    params,
    reply: yardLinkBody,
    faults: ['unknown-loop'],
    answer({ gateway, access }, { params: { site } }) {
      loopOf(gateway, site)
      return { link: access.yard.of(site) }
    },
  }),
  row({
    method: 'POST',
    path: '/api/loops/:site/yard-link',
    summary: 'Make a link of the yard page of a loop, shown once. The one it had no longer works.',
    params,
    reply: yardLinkMadeBody,
    status: 201,
    faults: ['unknown-loop'],
    answer({ gateway, access }, { params: { site }, person, nowMs }) {
      loopOf(gateway, site)
      const path = access.yard.make(site, person.name)
      return { path, sheet: `${path}/sign`, madeMs: nowMs, by: person.name }
    },
  }),
  row({
    method: 'POST',
    path: '/api/loops/:site/yard-link/withdraw',
    summary: 'Withdraw the link of the yard page of a loop: it stops working at once.',
    params,
    reply: yardLinkBody,
    faults: ['unknown-loop'],
    answer({ gateway, access }, { params: { site } }) {
      loopOf(gateway, site)
      access.yard.withdraw(site)
      return { link: null }
    },
  }),
]
