import { z } from 'zod'
import type { GatewayPort, StateAnswer } from '../../gateway/port.ts'
import type { Site } from '../../gateway/site/site.ts'
import { wallTimeMs } from '../../gateway/site/wall-time.ts'
import { loopStateBodyOf, stateRecordBodyOf } from '../bodies/loop-state.ts'
import { Fault, shown } from '../errors.ts'
import { loopStateBody, stateHistoryBody, type LoopStateBody } from '../wire.ts'
import { siteField, timeMs } from './fields.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const path = z.strictObject({ site: siteField })
const until = z
  .string()
  .max(40)
  .optional()
  .describe('When it ends: a time at the yard ("15:00", the next one; "2026-12-24 08:00"; "2026-12-24", the end of that day), ms since 1970 UTC, or RFC 3339 with its zone.')
const words = z.string().trim().max(300, 'at most 300 characters').optional()

const checkInRequest = z.strictObject({ until, why: words })
const checkOutRequest = z.strictObject({ person: z.string().trim().min(1).max(100).optional().describe('Whom, when it is not oneself.'), note: words })
const stateRequest = z.strictObject({ state: z.enum(['in-service', 'commissioning', 'resting', 'out-of-contract', 'planned-work']), until, why: words })
const stateEndRequest = z.strictObject({ state: z.enum(['commissioning', 'resting', 'out-of-contract', 'planned-work']) })
const HISTORY = 50
const faults = ['unknown-loop', 'not-in-state'] as const

export const loopStateRows = [
  row({
    method: 'GET',
    path: '/api/loops/:site/state',
    summary:
      'In which state a loop is (in service, commissioning, resting, planned work, someone on site, out of contract), who said so, what it does, and the newest 50 words about it.',
    params: path,
    reply: stateHistoryBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { params, nowMs }) {
      return { nowMs, site: params.site, state: stateOf(gateway, params.site, nowMs), history: (await gateway.stateDesk.history(params.site, HISTORY)).map(stateRecordBodyOf) }
    },
  }),
  row({
    method: 'POST',
    path: '/api/loops/:site/check-in',
    summary:
      'Say that one is on site, until when and why; again to put off the end. Alarms of this loop then go to those on site only, safety and environment excepted. Also writes "visit begins" into the site log.',
    params: path,
    body: checkInRequest,
    reply: loopStateBody,
    faults,
    async answer({ gateway, clock }, { params, body, person, nowMs }) {
      const untilMs = untilOf(loopOf(gateway, params.site).site, body.until, nowMs)
      return answered(await gateway.stateDesk.checkIn(params.site, { untilMs, why: body.why || null }, person.name), clock.nowMs())
    },
  }),
  row({
    method: 'POST',
    path: '/api/loops/:site/check-out',
    summary:
      'Say that one leaves, or that somebody else has left. What ran in the hour before the visit must run again within 15 min, or it becomes an alarm. Also writes "visit ends" into the site log.',
    params: path,
    body: checkOutRequest,
    reply: loopStateBody,
    faults,
    async answer({ gateway, clock }, { params, body, person }) {
      loopOf(gateway, params.site)
      return answered(await gateway.stateDesk.checkOut(params.site, { person: body.person ?? null, note: body.note || null }, person.name), clock.nowMs())
    },
  }),
  row({
    method: 'POST',
    path: '/api/loops/:site/state',
    summary: 'Say in which state a loop is. With an end it goes back by itself to what it was before; planned work always has one.',
    params: path,
    body: stateRequest,
    reply: loopStateBody,
    faults,
    async answer({ gateway, clock }, { params, body, person, nowMs }) {
      const untilMs = untilOf(loopOf(gateway, params.site).site, body.until, nowMs)
      return answered(await gateway.stateDesk.set(params.site, { state: body.state, untilMs, why: body.why || null }, person.name), clock.nowMs())
    },
  }),
  row({
    method: 'POST',
    path: '/api/loops/:site/state/end',
    summary: 'End planned work, rest, commissioning or the time out of contract before its time; what lies beneath holds again.',
    params: path,
    body: stateEndRequest,
    reply: loopStateBody,
    faults,
    async answer({ gateway, clock }, { params, body, person }) {
      loopOf(gateway, params.site)
      return answered(await gateway.stateDesk.end(params.site, body.state, person.name), clock.nowMs())
    },
  }),
]

function stateOf(gateway: GatewayPort, site: string, nowMs: number): LoopStateBody {
  loopOf(gateway, site)
  const view = gateway.loopState(site)
  if (!view) throw new Fault('unknown-loop', `no loop ${shown(site)}`)
  return loopStateBodyOf(view, nowMs)
}

function untilOf(site: Site, text: string | undefined, nowMs: number): number | null {
  if (text === undefined || text.trim() === '') return null
  const at = timeMs(text.trim()) ?? wallTimeMs(text.trim(), site.zone, nowMs)
  if (typeof at === 'string') throw new Fault('bad-request', `body field until: ${shown(text)} found: ${at}`)
  return at
}

function answered(answer: StateAnswer, nowMs: number): LoopStateBody {
  if (answer.ok) return loopStateBodyOf(answer.view, nowMs)
  throw answer.code === 'not-wanted' ? new Fault('bad-request', `body: ${answer.message}`) : new Fault('not-in-state', answer.message)
}
