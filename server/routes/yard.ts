/**
 * The yard page behind its link: no account, no app. Whoever has the link of a loop sees this page of this loop and may write three
 * kinds of entry into its site log, so many in a span of time; the token gives nothing else, and stands in no log.
 */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify'
import { z } from 'zod'
import type { Clock } from '../../gateway/clock.ts'
import type { NewEntry } from '../../gateway/log/entry.ts'
import type { GatewayPort } from '../../gateway/port.ts'
import { Fault } from '../errors.ts'
import { originOf } from '../people/same-origin.ts'
import type { YardDesk } from '../yard/desk.ts'
import { goneText, signSheet, yardPage, type Said } from '../yard/page.ts'
import { BY_SIGN, yardView } from '../yard/view.ts'
import { languageOf, REPORTS, type Report } from '../yard/words.ts'

const OPEN = { config: { open: true } }
const reportForm = z.strictObject({ what: z.enum(REPORTS) })

interface Parts {
  readonly gateway: GatewayPort
  readonly clock: Clock
  readonly yard: YardDesk
}

type Asked = FastifyRequest<{ Params: { token: string }; Querystring: Record<string, unknown> }>

export function registerYard(server: FastifyInstance, { gateway, clock, yard }: Parts): void {
  const answer = async (asked: Asked, reply: FastifyReply, said: Said | null, status = 200): Promise<FastifyReply> => {
    const spoken = languageOf(asked.headers['accept-language'])
    const site = yard.open(asked.params.token)
    const view = site === null ? null : await yardView(gateway, site, clock.nowMs())
    return view === null ? html(reply, 404, goneText(spoken)) : html(reply, status, yardPage(view, pathOf(asked), spoken, said))
  }

  server.get('/yard/:token', OPEN, (asked: Asked, reply) => {
    const { words } = languageOf(asked.headers['accept-language'])
    const report = REPORTS.find((r) => r === asked.query['said'])
    return answer(asked, reply, report ? { kind: 'written', text: words.written(words.report[report]), advice: words.advice[report] ?? null } : null)
  })

  server.get('/yard/:token/sign', OPEN, async (asked: Asked, reply) => {
    const spoken = languageOf(asked.headers['accept-language'])
    const site = yard.open(asked.params.token)
    const view = site === null ? null : await yardView(gateway, site, clock.nowMs())
    return view === null ? html(reply, 404, goneText(spoken)) : html(reply, 200, signSheet(view, `${asked.headers.host ?? ''}${pathOf(asked)}`, spoken))
  })

  server.post('/yard/:token/report', OPEN, async (asked: Asked, reply) => {
    if (originOf(asked.headers) === 'other') throw new Fault('cross-origin', 'a report must come from the yard page of this server')
    const { words } = languageOf(asked.headers['accept-language'])
    const site = yard.open(asked.params.token)
    if (site === null || gateway.site(site) === null) return answer(asked, reply, null)
    const form = reportForm.safeParse(asked.body)
    if (!form.success) return answer(asked, reply, { kind: 'refused', text: words.notWritten, advice: null }, 400)
    const waitMs = yard.admitReport(site)
    if (waitMs > 0) {
      void reply.header('retry-after', String(Math.ceil(waitMs / 1000)))
      return answer(asked, reply, { kind: 'refused', text: words.tooMany(Math.ceil(waitMs / 60_000)), advice: null }, 429)
    }
    await gateway.log.add(entryOf(site, form.data.what, clock.nowMs()), BY_SIGN)
    yard.written()
    // The address of the page again: loading it anew writes nothing twice.
    return reply.redirect(`${pathOf(asked)}?said=${encodeURIComponent(form.data.what)}`, 303)
  })
}

const pathOf = (asked: Asked): string => `/yard/${encodeURIComponent(asked.params.token)}`

function entryOf(site: string, what: Report, atMs: number): NewEntry {
  return { site, kind: what === 'foam' || what === 'smell' ? 'observation' : 'unusual-wash', atMs, item: what, text: 'told by the sign; nobody has looked yet' }
}

/** `same-origin`: with no-referrer a browser would send "Origin: null" along with the form. The address stays here all the same. */
const html = (reply: FastifyReply, status: number, text: string): FastifyReply =>
  reply
    .code(status)
    .type('text/html; charset=utf-8')
    .header('referrer-policy', 'same-origin')
    .header('x-robots-tag', 'noindex, nofollow')
    .header('content-security-policy', "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
    .send(text)
