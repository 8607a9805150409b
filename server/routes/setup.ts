import { z } from 'zod'
import type { GatewayPort, SiteFileRefusal } from '../../gateway/port.ts'
import { diffOf, setupOf, triedOf } from '../bodies/setup.ts'
import { Fault } from '../errors.ts'
import { newSiteRequest, setupBody, siteFileBody, siteFileRequest, siteFileSavedBody, siteFileSaveRequest, siteFileTriedBody } from '../wire.ts'
import { row } from './row.ts'

const WHOLE_FILE = 512 * 1024
const filePath = z.strictObject({ file: z.string().min(1).max(120).describe('Name of a site file, `<site>.yaml`; of a new one too.') })

/** What was asked, or the refusal of the gateway as ours. */
function granted<T extends { readonly ok: true }>(result: T | SiteFileRefusal): T {
  if (!result.ok) throw new Fault(result.code, result.message)
  return result
}

export const setupRows = [
  row({
    method: 'GET',
    path: '/api/setup',
    summary: 'Site files with their faults, how many signals stand in none, reviews that are due, credentials nobody has used.',
    reply: setupBody,
    answer: ({ gateway }, { nowMs }) => setupOf(gateway, nowMs),
  }),
  row({
    method: 'GET',
    path: '/api/site-files/:file',
    summary: 'A site file as it stands on disk: its text, its fields, what is wrong with it, and the mark of this version.',
    params: filePath,
    reply: siteFileBody,
    faults: ['unknown-file'],
    answer({ gateway }, { params }) {
      const { ok: _, ...view } = granted(gateway.siteFiles.read(params.file))
      const signals = (view.site === null ? null : gateway.site(view.site))?.site.signals ?? []
      const inForce = Object.fromEntries(signals.map((s) => [s.id, { name: s.name, range: [...s.range], sampleEveryMs: s.sampleEveryMs, reportEveryMs: s.reportEveryMs }]))
      return { ...view, fields: view.fields && { ...view.fields }, faults: [...view.faults], locked: gateway.siteFiles.locked, inForce }
    },
  }),
  row({
    method: 'POST',
    path: '/api/site-files/draft',
    summary: 'What the file of a new loop begins with, from a short form or a copy of another loop. Nothing is saved.',
    body: newSiteRequest,
    reply: siteFileTriedBody,
    faults: ['unknown-file', 'stale-file', 'not-saved'],
    answer: ({ gateway }, { body }) => triedOf(granted(gateway.siteFiles.draft(body))),
  }),
  row({
    method: 'POST',
    path: '/api/site-files/:file/preview',
    summary: 'What a change of a site file would do: lines that go and come, signals, alarms with old and new limits, vitals; and what is wrong with it. Nothing is saved.',
    params: filePath,
    body: siteFileRequest,
    bodyBytes: WHOLE_FILE,
    reply: siteFileTriedBody,
    faults: ['unknown-file', 'stale-file', 'not-saved'],
    answer: ({ gateway }, { params, body }) => triedOf(granted(gateway.siteFiles.preview(params.file, body))),
  }),
  row({
    method: 'POST',
    path: '/api/site-files/:file/save',
    summary:
      'Save a site file, under the name of the session or token, with a reason: refused when it has changed since it was seen. The file before is kept; the gateway follows within 5 s. A new loop gets its credential, shown only here.',
    params: filePath,
    body: siteFileSaveRequest,
    bodyBytes: WHOLE_FILE,
    reply: siteFileSavedBody,
    status: 201,
    faults: ['unknown-file', 'stale-file', 'not-saved'],
    async answer({ gateway }, { params, body, person, nowMs }) {
      const { reason, ...ask } = body
      const saved = granted(gateway.siteFiles.save(params.file, ask))
      const { file, site, isNew, mark, diff } = saved
      await gateway.log.add({ site, kind: 'note', atMs: nowMs, text: `Site file ${file} ${isNew ? 'made' : 'changed'} in the page: ${reason}`.slice(0, 500) }, person.name)
      return { file, site, isNew, mark, diff: diffOf(diff), secret: isNew ? await firstSecret(gateway, site) : null }
    },
  }),
]

/** null: it has a credential already, or none are given out here. */
async function firstSecret({ credentials }: Pick<GatewayPort, 'credentials'>, site: string): Promise<string | null> {
  if (credentials.locked !== null || credentials.list().some((c) => c.site === site)) return null
  return credentials.replace(site)
}
