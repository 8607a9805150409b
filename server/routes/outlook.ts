import { z } from 'zod'
import { forecastsBodyOf, normalBodyOf } from '../bodies/outlook.ts'
import { forecastsBody, normalBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

export const outlookRows = [
  row({
    method: 'GET',
    path: '/api/loops/:site/forecasts',
    summary:
      'What comes next on a loop: levels and pH at a limit, drums and roll used up, hours of a service; each with a median and an interval that holds four times in five, or why it is withheld and what would unlock it. Worked out from the history and kept for 5 min.',
    params: z.strictObject({ site: siteField }),
    reply: forecastsBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { params, nowMs }) {
      loopOf(gateway, params.site)
      return forecastsBodyOf(params.site, (await gateway.forecasts(params.site)) ?? { atMs: nowMs, expected: [] })
    },
  }),
  row({
    method: 'GET',
    path: '/api/loops/:site/normal',
    summary:
      'What is normal for the signals and vitals of a loop: the frozen first weeks, and the rolling band of hours like this one (as much washed, as long since the last wash, water as warm). Worked out from 90 days of hours and kept for 30 min.',
    params: z.strictObject({ site: siteField }),
    reply: normalBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { params, nowMs }) {
      loopOf(gateway, params.site)
      return normalBodyOf(params.site, (await gateway.normals(params.site)) ?? { atMs: nowMs, paused: null, normals: [] })
    },
  }),
]
