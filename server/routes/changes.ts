import { z } from 'zod'
import type { AlarmChange, AlarmFields } from '../../gateway/alarms/changes.ts'
import type { ChangeResult, Changeable, GatewayPort } from '../../gateway/port.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import { changeableOf, changeBodyOf, previewOf } from '../bodies/change.ts'
import { Fault, shown } from '../errors.ts'
import { changeableBody, changeBody, changeRequest, changesBody, previewBody, previewRequest, undoRequest } from '../wire.ts'
import { countField, siteField, timeField } from './fields.ts'
import { spanOf } from './history.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const YEAR_MS = 366 * 86_400_000
const MOST = 200
const alarmPath = z.strictObject({ id: z.string().min(1).max(300).describe('Id of an alarm, `<loop>/<rule>`, with the slash written as %2F.') })

export const changeRows = [
  row({
    method: 'GET',
    path: '/api/alarms/:id/change',
    summary: 'What is in force of one alarm, also of one that is off, and what has put it there: before changing it.',
    params: alarmPath,
    reply: changeableBody,
    faults: ['unknown-alarm'],
    async answer({ gateway }, { params, nowMs }) {
      const { state, found } = changeable(gateway, params.id)
      return changeableOf(found, state, await gateway.changes.raisedUnder(params.id), nowMs)
    },
  }),
  row({
    method: 'POST',
    path: '/api/alarms/:id/preview',
    summary: 'What a change of one alarm would do, or why it cannot be. Nothing is saved.',
    params: alarmPath,
    body: previewRequest,
    reply: previewBody,
    faults: ['unknown-alarm', 'not-changed'],
    answer({ gateway }, { params, body }) {
      changeable(gateway, params.id)
      const p = gateway.changes.preview(params.id, fieldsOf(body.fields))
      if (!p.ok) throw new Fault('not-changed', p.message)
      return previewOf(p)
    },
  }),
  row({
    method: 'POST',
    path: '/api/alarms/:id/change',
    summary: 'Change an alarm, under the name of the session or token: written down with its reason, then in force at once. Alarms of high priority need a second person.',
    params: alarmPath,
    body: changeRequest,
    reply: changeBody,
    status: 201,
    faults: ['unknown-alarm', 'stale-version', 'not-changed'],
    async answer({ gateway }, { params, body, person }) {
      changeable(gateway, params.id)
      const { fields, mark, reason } = body
      return done(gateway, await gateway.changes.change(params.id, fieldsOf(fields), person.name, { mark, reason, approver: body.approver ?? null }))
    },
  }),
  row({
    method: 'GET',
    path: '/api/changes',
    summary: 'Changes of alarms made in the page, newest first. They are never altered: one is taken back by a further one.',
    query: z.strictObject({
      site: siteField.optional(),
      alarm: z.string().min(1).max(300).optional().describe('Id of an alarm.'),
      by: z.string().min(1).max(100).optional().describe('Name of the person.'),
      from: timeField.optional().describe('Start, inclusive; a year before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
      before: countField(1, 999_999_999, 'Only changes with a lower number than this').optional(),
      limit: countField(1, MOST, 'At most so many changes; 50 unless given').optional(),
    }),
    reply: changesBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { query, nowMs }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      const span = spanOf(query, nowMs + 1, YEAR_MS)
      const limit = query.limit ?? 50
      const { site, alarm, by, before } = query
      const all = await gateway.changes.list({
        ...span,
        limit: limit + 1,
        ...(site !== undefined && { site }),
        ...(alarm !== undefined && { alarm }),
        ...(by !== undefined && { by }),
        ...(before !== undefined && { before }),
      })
      return { changes: all.slice(0, limit).map((c) => bodyOf(gateway, c)), more: all.length > limit }
    },
  }),
  row({
    method: 'POST',
    path: '/api/changes/:id/undo',
    summary: 'Take a change back, by a further change. Refused for what has been changed again since.',
    params: z.strictObject({ id: countField(1, 999_999_999, 'Number of a change') }),
    body: undoRequest,
    reply: changeBody,
    status: 201,
    faults: ['unknown-alarm', 'unknown-change', 'not-changed'],
    async answer({ gateway }, { params, body, person }) {
      return done(gateway, await gateway.changes.undo(params.id, person.name, { reason: body.reason, approver: body.approver ?? null }))
    },
  }),
]

function changeable(gateway: GatewayPort, id: string): { readonly state: ReturnType<typeof loopOf>; readonly found: Changeable } {
  const state = gateway.site(siteOfKey(id))
  const found = state && gateway.changes.changeable(id)
  if (!state || !found) throw new Fault('unknown-alarm', `no alarm ${shown(id)}: default and site file make none of this id, not even one that is off`)
  return { state, found }
}

/** Without the fields that were sent as nothing. */
const fieldsOf = (fields: { readonly [K in keyof AlarmFields]?: AlarmFields[K] | undefined }): AlarmFields =>
  Object.fromEntries(Object.entries(fields).filter(([, v]) => v !== undefined))

function done(gateway: GatewayPort, result: ChangeResult) {
  if (!result.ok) throw new Fault(result.code, result.message)
  return bodyOf(gateway, result.change)
}

const bodyOf = (gateway: GatewayPort, c: AlarmChange) => changeBodyOf(c, gateway.changes.changeable(c.alarm), gateway.site(c.site)?.site)
