import { REJECT_CODES } from '../../gateway/intake/reject-codes.ts'
import type { GatewayPort, SiteState } from '../../gateway/port.ts'
import { unitsInto } from '../../gateway/site/convert.ts'
import { QUANTITIES } from '../../gateway/site/quantity.ts'
import { UNITS } from '../../gateway/site/units.ts'
import { unitText } from '../bodies/unit.ts'
import { Fault } from '../errors.ts'
import { adoptedBody, adoptRequest, quarantineBody, trafficBody, unassignedBody } from '../wire.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const WORDS: Readonly<Record<string, { readonly means: string; readonly todo: string }>> = REJECT_CODES

const choice = (code: string): { code: string; text: string } => ({ code, text: unitText(code) || code })

/** Everything a signal can be, with the units a site file may give it, the usual one first, and those a controller may send. */
const quantities = Object.entries(QUANTITIES).map(([id, q]) => {
  const sent = [q.unit, ...unitsInto(q.unit)]
  return { id, word: q.word, units: sent.filter((u) => Object.hasOwn(UNITS, u)).map(choice), sentUnits: sent.map(choice) }
})

const nameOf = (gateway: GatewayPort, site: string): string => gateway.site(site)?.site.name ?? site

const placesOf = ({ site }: SiteState): { id: string; name: string }[] => [...site.stages, ...site.equipment].map((x) => ({ id: x.id, name: x.name }))

export const intakeRows = [
  row({
    method: 'GET',
    path: '/api/quarantine',
    summary: 'Refused messages by kind: reason code and what it means, topic, size, first and last seen, count. What they held is not kept.',
    reply: quarantineBody,
    answer: ({ gateway }) => ({
      entries: gateway.quarantine().map((e) => ({ ...e, means: WORDS[e.code]?.means ?? e.code, todo: WORDS[e.code]?.todo ?? '' })),
      totals: { ...gateway.health().rejected },
    }),
  }),
  row({
    method: 'GET',
    path: '/api/unassigned',
    summary: 'Signals that arrive from known sites and are in no site file, with last value, rate and a guess of what they are.',
    reply: unassignedBody,
    answer({ gateway }) {
      const signals = gateway.unassigned().map((s) => ({ ...s, siteName: nameOf(gateway, s.site), guess: s.guess && { ...s.guess } }))
      const sites = [...new Set(signals.map((s) => s.site))]
      return {
        signals,
        quantities,
        places: Object.fromEntries(
          sites.flatMap((id) => {
            const state = gateway.site(id)
            return state ? [[id, placesOf(state)]] : []
          }),
        ),
      }
    },
  }),
  row({
    method: 'POST',
    path: '/api/unassigned/adopt',
    summary:
      'Take a signal into the site file as what the caller says it is; one line is added, everything else in the file stays. The gateway follows within 5 s, with its alarms. The site log gets a note under the name of the session or token.',
    body: adoptRequest,
    reply: adoptedBody,
    status: 201,
    faults: ['unknown-loop', 'not-adopted'],
    async answer({ gateway }, { body, person, nowMs }) {
      loopOf(gateway, body.site)
      const { site, ...signal } = body
      const result = gateway.adopt(site, signal)
      if (!result.ok) throw new Fault('not-adopted', result.message)
      const { file, line, written } = result
      await gateway.log.add({ site, kind: 'note', atMs: nowMs, text: `Signal taken in: ${file}, line ${line}: ${written}`.slice(0, 500) }, person.name)
      return { site, signal: body.signal, file, line, written }
    },
  }),
  row({
    method: 'GET',
    path: '/api/traffic',
    summary: 'What each site sends: messages and bytes, this month against its data plan with a forecast, and how wrong its clock is.',
    reply: trafficBody,
    answer: ({ gateway }) => ({ sites: gateway.traffic().map((t) => ({ ...t, siteName: nameOf(gateway, t.site), month: t.month && { ...t.month } })) }),
  }),
]
