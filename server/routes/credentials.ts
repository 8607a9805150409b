import { z } from 'zod'
import type { GatewayPort } from '../../gateway/port.ts'
import { credentialsOf } from '../bodies/setup.ts'
import { Fault, shown } from '../errors.ts'
import { credentialsBody, secretBody, withdrawnBody } from '../wire.ts'
import { siteField } from './fields.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const sitePath = z.strictObject({ site: siteField })
const nothing = z.strictObject({})

function open(gateway: GatewayPort): void {
  const { locked } = gateway.credentials
  if (locked !== null) throw new Fault('not-given', locked)
}

export const credentialRows = [
  row({
    method: 'GET',
    path: '/api/credentials',
    summary: 'Credentials of the own broker by loop: when made, when last used. Secrets are never told again. Brokers of others keep their own.',
    reply: credentialsBody,
    answer: ({ gateway }) => credentialsOf(gateway, gateway.credentials),
  }),
  row({
    method: 'POST',
    path: '/api/credentials/:site/replace',
    summary: 'Make the credential of a loop, anew where it has one: the old one ends, with its connections, within seconds. The secret is in this answer and nowhere else.',
    params: sitePath,
    body: nothing,
    reply: secretBody,
    status: 201,
    faults: ['unknown-loop', 'not-given'],
    async answer({ gateway }, { params: { site }, person, nowMs }) {
      loopOf(gateway, site)
      open(gateway)
      const had = gateway.credentials.list().some((c) => c.site === site)
      const secret = await gateway.credentials.replace(site).catch((e: unknown) => {
        throw new Fault('not-given', `the credential of ${shown(site)} cannot be written: ${e instanceof Error ? e.message : String(e)}`)
      })
      await gateway.log.add({ site, kind: 'note', atMs: nowMs, text: had ? 'Credential made anew; the old one has ended.' : 'Credential made.' }, person.name)
      return { site, secret }
    },
  }),
  row({
    method: 'POST',
    path: '/api/credentials/:site/withdraw',
    summary: 'End the credential of a loop, with its connections, within seconds. Nothing more is taken from it until it has a new one.',
    params: sitePath,
    body: nothing,
    reply: withdrawnBody,
    faults: ['unknown-credential', 'not-given'],
    async answer({ gateway }, { params: { site }, person, nowMs }) {
      open(gateway)
      if (!gateway.credentials.withdraw(site)) throw new Fault('unknown-credential', `${shown(site)} has no credential of the own broker, so there is none to withdraw`)
      if (gateway.site(site)) await gateway.log.add({ site, kind: 'note', atMs: nowMs, text: 'Credential withdrawn: nothing is taken from its controller.' }, person.name)
      return { site }
    },
  }),
]
