import { z } from 'zod'
import { fleetBodies } from '../bodies/fleet.ts'
import { loopDetailBodyOf } from '../bodies/loop-detail.ts'
import { loopDetailBody, loopsBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const LOG_ENTRIES = 20

export const loopRows = [
  row({
    method: 'GET',
    path: '/api/loops',
    summary: 'The fleet: every loop with its water, its standing alarms and what is doubtful.',
    reply: loopsBody,
    answer: ({ gateway }, { nowMs }) => ({ nowMs, loops: fleetBodies(gateway, gateway.sites(), nowMs) }),
  }),
  row({
    method: 'GET',
    path: '/api/loops/:site',
    summary:
      'One loop: signals with their newest readings and limits, machines, vitals with how they were computed, protections, hazards, what it cannot tell, newest log entries.',
    params: z.strictObject({ site: siteField }),
    reply: loopDetailBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { params, nowMs }) {
      const state = loopOf(gateway, params.site)
      const log = await gateway.log.list({ site: params.site, fromMs: 0, toMs: 2 ** 45, limit: LOG_ENTRIES })
      return loopDetailBodyOf(state, gateway.alarmsOf(params.site), gateway.vitals(params.site), log, nowMs, gateway.loopState(params.site) ?? undefined)
    },
  }),
]
