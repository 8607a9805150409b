/**
 * Signing in with the link that works once. Opening the link only shows a page with a button, and the button spends it: mail
 * scanners, chat previews and prefetching browsers open links by themselves, and a link opened by a machine must still be
 * good for the person it was meant for.
 */
import type { FastifyInstance, FastifyReply } from 'fastify'
import { z } from 'zod'
import { Fault } from '../errors.ts'
import type { Access } from '../people/access.ts'
import { originOf } from '../people/same-origin.ts'
import { checked } from './row.ts'
import { sendFile } from './page.ts'
import { pageFile } from './page-files.ts'
import { signInPage, SIGN_IN_STYLE, spentPage } from './signin-page.ts'

const ONCE = z.string().min(1, 'the token of a sign-in link').max(200, 'the token of a sign-in link')
/** A name others can read: no control or direction characters, which could dress one name up as another. */
const name = z
  .string()
  .trim()
  .min(1, 'a name is needed')
  .max(80, 'a name of at most 80 characters')
  .regex(/^[^\p{Cc}\p{Zl}\p{Zp}\u200e\u200f\u202a-\u202e\u2066-\u2069]*$/u, 'a name without control characters')
const request = z.strictObject({ once: ONCE, name })

export function registerSignIn(server: FastifyInstance, access: Access): void {
  const style = pageFile('/signin.css', Buffer.from(SIGN_IN_STYLE))
  server.get('/signin.css', { config: { open: true } }, (asked, reply) => sendFile(asked, reply, style))

  server.get('/signin', { config: { open: true } }, (asked, reply) => {
    const once = checked(z.object({ once: ONCE.optional() }), asked.query, 'query').once ?? ''
    const leftMs = access.linkLeftMs(once)
    return html(reply, leftMs > 0 ? 200 : 401, leftMs > 0 ? signInPage(once, leftMs) : spentPage())
  })

  server.post('/signin', { config: { open: true } }, (asked, reply) => {
    if (originOf(asked.headers) === 'other')
      throw new Fault(
        'cross-origin',
        `a sign-in must come from the sign-in page of this server: Origin is ${asked.headers.origin ?? 'not given'}, Host is ${asked.headers.host ?? 'not given'}`,
      )
    const fromForm = asked.headers['content-type']?.startsWith('application/x-www-form-urlencoded') === true
    const again = fromForm ? askAgain(access, asked.body) : null
    if (again !== null) return html(reply, 400, again)
    const { once, name } = checked(request, asked.body, 'body')
    const result = access.signIn(once, name, asked.ip)
    if (!result.ok) {
      if (fromForm && result.code === 'link-not-valid') return html(reply, 401, spentPage())
      throw new Fault(result.code, result.message, result.retryAfterS > 0 ? { 'retry-after': String(result.retryAfterS) } : {})
    }
    void reply.header('set-cookie', result.cookie)
    if (fromForm) return reply.redirect('/', 303)
    return reply.send({ name: result.person.name, via: 'session', untilMs: result.person.untilMs })
  })
}

/** A form with a good link and a name that will not do is shown once more, saying so; null: nothing to say about the name. */
function askAgain(access: Access, body: unknown): string | null {
  const { once } = z.object({ once: ONCE }).catch({ once: '' }).parse(body)
  const leftMs = access.linkLeftMs(once)
  const problem = request.safeParse(body).error?.issues.find((i) => i.path[0] === 'name')
  return leftMs > 0 && problem ? signInPage(once, leftMs, `Not taken: ${problem.message}.`) : null
}

/** With no-referrer a browser sends "Origin: null" along with a form; same-origin makes it say where the form stood. */
const html = (reply: FastifyReply, status: number, text: string): FastifyReply =>
  reply.code(status).type('text/html; charset=utf-8').header('referrer-policy', 'same-origin').header('cache-control', 'no-store').header('x-robots-tag', 'noindex').send(text)
