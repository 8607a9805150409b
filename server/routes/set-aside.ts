/** What a person lays over an alarm and takes off again, and the list of what is laid over. */
import { z } from 'zod'
import type { ActionResult } from '../../gateway/alarms/alarm.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import { alarmBodyOf, unansweredFirst } from '../bodies/alarm.ts'
import { floodsBodyOf } from '../bodies/overlay.ts'
import { Fault } from '../errors.ts'
import { alarmBody, backRequest, outOfServiceRequest, setAsideBody, shelveRequest } from '../wire.ts'
import { alarmPath } from './alarms.ts'
import { siteField } from './fields.ts'
import { alarmOf, loopOf } from './known.ts'
import { row, type Parts } from './row.ts'

export const setAsideRows = [
  row({
    method: 'GET',
    path: '/api/set-aside',
    summary: 'Alarms that are shelved, suppressed by design or out of service; and floods: too many alarms at once, and one alarm at many loops.',
    query: z.strictObject({ site: siteField.optional() }),
    reply: setAsideBody,
    faults: ['unknown-loop'],
    answer({ gateway }, { query, nowMs }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      const alarms = gateway.setAside(query.site).toSorted(unansweredFirst)
      return { nowMs, alarms: alarms.map((v) => alarmBodyOf(v, loopOf(gateway, v.def.site), nowMs)), floods: floodsBodyOf(gateway, gateway.floods()) }
    },
  }),
  lay(
    'shelve',
    'Let one alarm rest for a while: its changes are written down and told to nobody. How long is bounded by its priority; what protects people cannot be shelved.',
    shelveRequest,
    ({ gateway }, id, { version, untilMs, oneShot, reason }, by) => gateway.shelve(id, { untilMs, oneShot, reason }, by, version),
  ),
  lay('unshelve', 'Take an alarm off the shelf. What is still there is announced as new.', backRequest, ({ gateway }, id, { version }, by) => gateway.unshelve(id, by, version)),
  lay(
    'out-of-service',
    'Take an alarm out of service while its instrument or machine is in repair: a reason, what is done meanwhile in its place, and a date of review within 30 days. It never comes back by itself.',
    outOfServiceRequest,
    ({ gateway }, id, { version, ...request }, by) => gateway.outOfService(id, request, by, version),
  ),
  lay('in-service', 'Bring an alarm back into service. What is still there is announced as new.', backRequest, ({ gateway }, id, { version }, by) =>
    gateway.inService(id, by, version),
  ),
]

function lay<B extends z.ZodType>(
  verb: 'shelve' | 'unshelve' | 'out-of-service' | 'in-service',
  summary: string,
  body: B,
  act: (parts: Parts, id: string, body: z.output<B>, by: string) => Promise<ActionResult>,
) {
  return row({
    method: 'POST',
    path: `/api/alarms/:id/${verb}`,
    summary: `${summary} Gives the alarm as it is then, in the journal already.`,
    params: alarmPath,
    body,
    reply: alarmBody,
    faults: ['unknown-alarm', 'stale-version', 'not-allowed'],
    async answer(parts, { params, body: given, person }) {
      const { state } = alarmOf(parts.gateway, params.id)
      const result = await act(parts, params.id, given, person.name)
      if (!result.ok) throw new Fault(result.code, result.message)
      return alarmBodyOf(result.view, parts.gateway.site(siteOfKey(params.id)) ?? state, parts.clock.nowMs())
    },
  })
}
