import { z } from 'zod'
import { siteOfKey } from '../../gateway/site/reading.ts'
import { alarmBodyOf, unansweredFirst } from '../bodies/alarm.ts'
import { callBodyOf } from '../bodies/call.ts'
import { Fault } from '../errors.ts'
import { recordsOf } from '../bodies/rules.ts'
import { acknowledgeRequest, alarmBody, alarmsBody, callBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { alarmOf, loopOf } from './known.ts'
import { row } from './row.ts'

export const alarmPath = z.strictObject({ id: z.string().min(1).max(300).describe('Id of an alarm, `<loop>/<rule>`, with the slash written as %2F.') })

export const alarmRows = [
  row({
    method: 'GET',
    path: '/api/alarms',
    summary: 'Alarms that are not normal: those nobody has answered first, then by priority, then the newest.',
    query: z.strictObject({ site: siteField.optional() }),
    reply: alarmsBody,
    faults: ['unknown-loop'],
    answer({ gateway }, { query, nowMs }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      const alarms = gateway.standing(query.site).toSorted(unansweredFirst)
      return { nowMs, alarms: alarms.map((v) => alarmBodyOf(v, loopOf(gateway, v.def.site), nowMs)) }
    },
  }),
  row({
    method: 'GET',
    path: '/api/alarms/:id',
    summary: 'One alarm with its definition, whatever state it is in.',
    params: alarmPath,
    reply: alarmBody,
    faults: ['unknown-alarm'],
    answer({ gateway }, { params, nowMs }) {
      const { state, view } = alarmOf(gateway, params.id)
      return alarmBodyOf(view, state, nowMs)
    },
  }),
  row({
    method: 'GET',
    path: '/api/alarms/:id/call',
    summary:
      'Whether somebody must be woken for a standing alarm: when harm is due, how soon somebody can act, when the desk is staffed next, and what follows from them. Judged anew every 10 min.',
    params: alarmPath,
    reply: callBody,
    faults: ['unknown-alarm'],
    answer({ gateway }, { params }) {
      const { state, view } = alarmOf(gateway, params.id)
      const due = gateway.dueEverywhere().find((d) => d.site === state.site.id) ?? null
      const [record] = recordsOf(state.site, [view], due)
      return callBodyOf(view.def.id, gateway.wake(view.def.id), gateway.entryBlock(state.site.id), state.site.reach.assumed, record?.protection ?? null)
    },
  }),
  change('acknowledge', 'Answer a standing alarm, under the name of the session or token. Gives the alarm as it is then, in the journal already.'),
  change('reset', 'Let a latched alarm go: it must be answered and its condition gone. Gives the alarm as it is then.'),
]

/** The two things a person does to one alarm: the same request, the same refusals. */
function change(verb: 'acknowledge' | 'reset', summary: string) {
  return row({
    method: 'POST',
    path: `/api/alarms/:id/${verb}`,
    summary,
    params: alarmPath,
    body: acknowledgeRequest,
    reply: alarmBody,
    faults: ['unknown-alarm', 'stale-occurrence', 'stale-version', 'not-allowed'],
    async answer({ gateway, clock }, { params, body, person }) {
      const { state } = alarmOf(gateway, params.id)
      const note = body.note === undefined || body.note === '' ? null : body.note
      const result = await gateway[verb](params.id, body.occurrence, person.name, note, body.version)
      if (!result.ok) throw new Fault(result.code, result.message)
      return alarmBodyOf(result.view, gateway.site(siteOfKey(params.id)) ?? state, clock.nowMs())
    },
  })
}
