/**
 * A small server that speaks the contract of server/wire.ts over invented loops: real bodies, its own clock, and a switch for
 * every misfortune a page must survive. It is for looking at pages and for browser tests, and knows nothing of a gateway.
 */
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { WebSocketServer, type WebSocket } from 'ws'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { AlarmChange, AlarmFields } from '../../gateway/alarms/changes.ts'
import type { ChangeResult, LoopDue } from '../../gateway/port.ts'
import { isHidden, shownOf, type Overlays } from '../../gateway/alarms/overlay.ts'
import { newEntrySchema, type LogEntry } from '../../gateway/log/entry.ts'
import { entryBlockOf } from '../../gateway/alarms/entry-block.ts'
import { createWakeKeeper } from '../../gateway/wake-keeper.ts'
import { alarmBodyOf, journalLine } from '../../server/bodies/alarm.ts'
import { EVENT_KINDS } from '../../server/bodies/event-kind.ts'
import { callBodyOf } from '../../server/bodies/call.ts'
import { createVitals } from '../../gateway/vitals/evaluator.ts'
import { recordsOf, rulesBodyOf } from '../../server/bodies/rules.ts'
import { dueBodyOf, fleetDueBodyOf } from '../../server/bodies/due.ts'
import { changeableOf, changeBodyOf, previewOf } from '../../server/bodies/change.ts'
import { loopDetailBodyOf } from '../../server/bodies/loop-detail.ts'
import { loopBodyOf, waterRuleOf } from '../../server/bodies/loop.ts'
import { forecastsBodyOf, normalBodyOf } from '../../server/bodies/outlook.ts'
import { readPage } from '../../server/routes/page-files.ts'
import { policyFor } from '../../server/security-headers.ts'
import {
  acknowledgeRequest,
  adoptRequest,
  backRequest,
  changeRequest,
  LIVE_PATH,
  outOfServiceRequest,
  previewRequest,
  undoRequest,
  shelveRequest,
  liveMessage,
  watchMessage,
  type LiveMessage,
} from '../../server/wire.ts'
import { fakeChanges } from './changes.ts'
import { fakeDue } from './due.ts'
import { fakeFloods } from './floods.ts'
import { fakeHealth } from './health.ts'
import { fakeMachines, fakeQuarantine, fakeTraffic, fakeUnassigned } from './intake.ts'
import { fakeForecasts, fakeNormals } from './outlook.ts'
import { entriesOf, eventsOf } from './past.ts'
import { fakeCourse, trendOf } from './trend.ts'
import { makeFleet, readingOf, type FleetName, type Loop } from './yards.ts'

export interface FakeServer {
  readonly url: string
  /** Paths asked for, with their method. */
  readonly asked: readonly string[]
  readonly loops: ReadonlyMap<string, Loop>
  nowMs(): number
  /** A new figure of one signal, told to those who watch. */
  tell(site: string, signal: string, value: number): void
  /** The water of every loop has moved, told in one frame as the server does once a second. Gives its length, bytes. */
  tellFleet(): number
  change(site: string, rule: string, more: Partial<AlarmView>, event?: string): void
  /** Sockets stay open and say nothing more. */
  mute(on: boolean): void
  /** Sockets are closed, and no new one is let in. */
  cut(on: boolean): void
  /** Every answer of the API from now on: 401. */
  signOut(on: boolean): void
  /** The next acknowledgement is refused with these words. */
  refuseNext(code: string, message: string): void
  /** Holds back answers to acknowledgements until released. */
  holdAnswers(): () => void
  stop(): Promise<void>
}

interface Options {
  readonly fleet: FleetName
  /** Folder of the built page. */
  readonly page: string
  /** Where this server's clock starts, ms since 1970 UTC. */
  readonly atMs?: number
  readonly port?: number
}

/** Tuesday 17 November 2026, 03:16 in London: the hour when people are woken. */
export const NIGHT_MS = Date.UTC(2026, 10, 17, 3, 16, 4)

export async function startFakeServer(options: Options): Promise<FakeServer> {
  const began = Date.now()
  const nowMs = (): number => (options.atMs ?? NIGHT_MS) + Date.now() - began
  const loops = new Map(makeFleet(options.fleet, nowMs()).map((l) => [l.site.id, l]))
  const entries: LogEntry[] = [...loops.values()].slice(0, 8).flatMap((l, i) => entriesOf(l, i * 100, nowMs()))
  const files = readPage(options.page)
  const asked: string[] = []
  const adopted = new Set<string>()
  const changes = await fakeChanges(loops, nowMs)
  let turn = 0
  let muted = false
  let closed = false
  let signedOut = false
  let refusal: { code: string; message: string } | null = null
  let hold: Promise<void> = Promise.resolve()

  /** As the gateway would have them a minute after the newest readings; without the week behind them. */
  const vitalsOf = (l: Loop) => {
    const v = createVitals(l.site)
    const readings = [...l.latest.values()].filter((r) => r.sourceMs > nowMs() - 30_000).toSorted((a, b) => a.sourceMs - b.sourceMs)
    for (const e of entries.toReversed()) v.note(e)
    // The newest readings again and again, until a full hour has passed: they then speak of a moment ago.
    for (let beforeMs = 65 * 60_000; beforeMs >= 0; beforeMs -= 10_000) v.take(readings.map((r) => ({ ...r, sourceMs: r.sourceMs - beforeMs })))
    return v.explainAll()
  }
  const viewsOf = (l: Loop): AlarmView[] => [...l.alarms.values()]
  const bodyOf = (l: Loop) =>
    loopBodyOf(
      l,
      viewsOf(l).filter((v) => v.shown !== 'normal' && v.shown === v.state),
      waterRuleOf(viewsOf(l)),
      nowMs(),
    )
  const dueHere = (l: Loop): LoopDue =>
    fakeDue(
      l,
      viewsOf(l),
      vitalsOf(l),
      entries.filter((e) => e.site === l.site.id),
      nowMs(),
    )
  const changeOf = (c: AlarmChange) => changeBodyOf(c, changes.changeable(c.alarm), loops.get(c.site)?.site)
  const standing = (): { loop: Loop; view: AlarmView }[] =>
    [...loops.values()].flatMap((loop) => viewsOf(loop).flatMap((view) => (view.shown === 'normal' || view.shown !== view.state ? [] : [{ loop, view }])))

  const http = createServer((request, response) => void serve(request, response))
  const sockets = new WebSocketServer({ noServer: true })
  const watching = new Map<WebSocket, readonly string[]>()
  http.on('upgrade', (request, socket, head) => {
    if (closed || signedOut || request.url !== LIVE_PATH) return void socket.destroy()
    sockets.handleUpgrade(request, socket, head, (ws) => {
      watching.set(ws, [])
      ws.on('message', (data: Buffer) => {
        const m = watchMessage.safeParse(JSON.parse(data.toString('utf8')))
        if (!m.success) return
        watching.set(ws, m.data.values)
        for (const site of m.data.values) send(ws, valuesOf(site))
      })
      ws.on('close', () => watching.delete(ws))
      ws.on('error', () => ws.terminate())
      if (!muted) send(ws, { t: 'hello', nowMs: nowMs(), version: '0.0.0-look', troubles: [], loops: [...loops.values()].map(bodyOf) })
    })
  })
  const send = (ws: WebSocket, m: LiveMessage | null): void => {
    // A message outside the contract would make a page look wrong for no fault of its own.
    if (m && !muted) ws.send(JSON.stringify(liveMessage.parse(m)))
  }
  const tellAll = (m: LiveMessage): void => {
    for (const ws of watching.keys()) send(ws, m)
  }
  const valuesOf = (site: string): LiveMessage | null => {
    const l = loops.get(site)
    if (!l) return null
    return { t: 'values', nowMs: nowMs(), site, values: [...l.latest].map(([id, r]) => [id, r.value, r.quality, r.sub, r.sourceMs, r.receivedMs]) }
  }
  const beat = setInterval(() => tellAll({ t: 'beat', nowMs: nowMs(), troubles: [] }), 1000)
  const readings = setInterval(() => {
    // Loops that are heard stay heard; the others grow older.
    for (const l of loops.values()) if (!l.silent && l.heardMs !== null) l.heardMs = nowMs() - 1000
  }, 1000)

  function change(site: string, rule: string, more: Partial<AlarmView>, event = 'raised'): void {
    const l = loops.get(site)
    const was = l?.alarms.get(`${site}/${rule}`)
    if (!l || !was) throw new Error(`no alarm ${site}/${rule}`)
    const changed = { ...was, version: was.version + 1, ...more }
    const view: AlarmView = { ...changed, shown: shownOf(changed, changed.state) }
    l.alarms.set(view.def.id, view)
    tellAll({ t: 'alarm', nowMs: nowMs(), event, alarm: alarmBodyOf(view, l, nowMs()) })
  }

  /** What a request lays over an alarm or takes off it. */
  function overlayOf(verb: string, sent: unknown): Partial<Overlays> {
    const by = 'Ines C.'
    if (verb === 'shelve') {
      const { untilMs, oneShot, reason } = shelveRequest.parse(sent)
      return { shelved: { untilMs, oneShot, reason, by, atMs: nowMs() } }
    }
    if (verb === 'out-of-service') {
      const { reason, measure, reviewMs } = outOfServiceRequest.parse(sent)
      return { outOfService: { reason, measure, reviewMs, by, atMs: nowMs(), overdue: false } }
    }
    return verb === 'unshelve' ? { shelved: null } : { outOfService: null }
  }

  async function serve(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const url = new URL(request.url ?? '/', 'http://localhost')
    const method = request.method ?? 'GET'
    asked.push(`${method} ${url.pathname}${url.search}`)
    const answer = (status: number, body: unknown): void => {
      response.writeHead(status, { 'content-type': 'application/json; charset=utf-8' })
      response.end(JSON.stringify(body))
    }
    const fault = (status: number, code: string, message: string): void => answer(status, { code, message })
    if (!url.pathname.startsWith('/api/')) {
      const file = files.get(decodeURIComponent(url.pathname)) ?? files.get('/index.html')
      response.writeHead(200, { 'content-type': file?.type ?? 'text/plain', 'content-security-policy': policyFor(request.headers.host) })
      response.end(file?.bytes ?? 'The page has not been built.')
      return
    }
    if (signedOut) return fault(401, 'not-signed-in', 'Nobody is signed in here.')
    const [, , noun, first, second, third] = url.pathname.split('/').map(decodeURIComponent)
    const changed = (r: ChangeResult): void => (r.ok ? answer(201, changeOf(r.change)) : fault(409, r.code, r.message))
    const fromMs = Number(url.searchParams.get('from') ?? 0)
    const toMs = Number(url.searchParams.get('to') ?? nowMs())
    const loop = loops.get((noun === 'loops' || noun === 'history' || noun === 'machines' || noun === 'rules' ? first : url.searchParams.get('site')) ?? '')
    switch (`${method} ${noun}`) {
      case 'GET me':
        return answer(200, { name: 'Ines C.', via: 'session', untilMs: nowMs() + 86_400_000 })
      case 'GET loops':
        if (first === undefined) return answer(200, { nowMs: nowMs(), loops: [...loops.values()].map(bodyOf) })
        if (!loop) return fault(404, 'unknown-loop', `There is no loop "${first}": look at the fleet for those there are.`)
        if (second === 'forecasts') return answer(200, forecastsBodyOf(first, fakeForecasts(loop, viewsOf(loop), nowMs())))
        if (second === 'due') return answer(200, dueBodyOf(loop.site, dueHere(loop), viewsOf(loop)))
        if (second === 'normal') return answer(200, normalBodyOf(first, fakeNormals(loop, vitalsOf(loop), nowMs())))
        return answer(
          200,
          loopDetailBodyOf(
            loop,
            viewsOf(loop),
            vitalsOf(loop),
            entries.filter((e) => e.site === first),
            nowMs(),
          ),
        )
      case 'GET alarms': {
        if (first === undefined) return answer(200, { nowMs: nowMs(), alarms: standing().map(({ loop: l, view }) => alarmBodyOf(view, l, nowMs())) })
        const l = loops.get(first.slice(0, first.indexOf('/')))
        const view = l?.alarms.get(first)
        if (l && second === 'change') {
          const found = changes.changeable(first)
          if (found) return answer(200, changeableOf(found, l, await changes.raisedUnder(first), nowMs()))
        }
        if (l && view && second === 'call') return answer(200, callOf(view, l, nowMs()))
        return l && view ? answer(200, alarmBodyOf(view, l, nowMs())) : fault(404, 'unknown-alarm', `There is no alarm "${first}".`)
      }
      case 'POST alarms': {
        const sent: unknown = JSON.parse(await bodyText(request))
        await hold
        const l = loops.get((first ?? '').slice(0, (first ?? '').indexOf('/')))
        const view = l?.alarms.get(first ?? '')
        if (!l || !view) return fault(404, 'unknown-alarm', `There is no alarm "${first}".`)
        if (refusal) {
          const words = refusal
          refusal = null
          return fault(409, words.code, words.message)
        }
        if (second === 'preview') {
          const p = changes.preview(view.def.id, fieldsOf(previewRequest.parse(sent).fields))
          return p.ok ? answer(200, previewOf(p)) : fault(409, 'not-changed', p.message)
        }
        if (second === 'change') {
          const { fields, mark, reason, approver } = changeRequest.parse(sent)
          return changed(await changes.change(view.def.id, fieldsOf(fields), 'Ines C.', { mark, reason, approver: approver ?? null }))
        }
        if (second !== 'acknowledge' && second !== 'reset') {
          const over = overlayOf(second ?? '', sent)
          if (backRequest.loose().parse(sent).version !== view.version)
            return fault(
              409,
              'stale-version',
              'Not done, because it has changed since you looked: shelved by Tomas W. 2 min ago ("probe on order"). Look at it as it is now, then decide.',
            )
          change(l.site.id, view.def.id.slice(l.site.id.length + 1), over, second)
          return answer(200, alarmBodyOf(l.alarms.get(view.def.id)!, l, nowMs()))
        }
        const given = acknowledgeRequest.parse(sent)
        if (given.occurrence !== view.occurrence) return fault(409, 'stale-occurrence', 'The alarm has since cleared or been raised anew: look at it again.')
        const rule = view.def.id.slice(l.site.id.length + 1)
        const latched = view.state.startsWith('latched')
        if (second === 'reset') change(l.site.id, rule, { state: 'normal', occurrence: null }, 'reset')
        else
          change(
            l.site.id,
            rule,
            {
              state: view.state === 'returned' ? 'normal' : latched ? 'latched-acknowledged' : 'acknowledged',
              acknowledgedBy: 'Ines C.',
              acknowledgedMs: nowMs(),
              note: given.note ?? null,
            },
            'acknowledged',
          )
        return answer(200, alarmBodyOf(l.alarms.get(view.def.id)!, l, nowMs()))
      }
      case 'GET changes': {
        const all = await changes.list({ ...queryOf(url.searchParams), fromMs: 0, toMs: nowMs() + 1, limit: 200 })
        return answer(200, { changes: all.map(changeOf), more: false })
      }
      case 'POST changes': {
        const { reason, approver } = undoRequest.parse(JSON.parse(await bodyText(request)))
        return changed(await changes.undo(Number(first), 'Ines C.', { reason, approver: approver ?? null }))
      }
      case 'GET rules':
        return loop ? answer(200, rulesBodyOf(loop.site, viewsOf(loop), dueHere(loop), nowMs())) : fault(404, 'unknown-loop', `There is no loop "${first}".`)
      case 'GET due':
        return answer(200, fleetDueBodyOf([...loops.values()], [...loops.values()].map(dueHere), nowMs(), url.searchParams.get('site')))
      case 'GET set-aside': {
        const alarms = [...loops.values()].flatMap((l) => viewsOf(l).flatMap((v) => (isHidden(v) ? [alarmBodyOf(v, l, nowMs())] : [])))
        return answer(200, { nowMs: nowMs(), alarms, floods: options.fleet === 'sixty' ? fakeFloods([...loops.values()], nowMs()) : { fleet: null, sites: [], groups: [] } })
      }
      case 'GET journal': {
        const about = loop ? [loop] : [...loops.values()]
        const events = about.flatMap((l) => viewsOf(l).flatMap((v) => eventsOf(v).map((e) => journalLine({ ...e, seq: Math.floor(e.atMs / 1000) }, v, l.site))))
        return answer(200, { events: events.filter((e) => e.atMs >= fromMs && e.atMs < toMs).toSorted((a, b) => b.atMs - a.atMs), more: false, kinds: [...EVENT_KINDS] })
      }
      case 'GET history': {
        const signal = loop?.site.signals.find((s) => s.id === second)
        if (!loop || !signal) return fault(404, 'unknown-signal', `${first} has no signal "${second}".`)
        if (third === 'course') return answer(200, fakeCourse(loop, signal, fromMs, toMs, nowMs()))
        return answer(200, trendOf(loop, signal, fromMs, toMs, Number(url.searchParams.get('points') ?? 300), nowMs()))
      }
      case 'GET history.csv':
        response.writeHead(200, { 'content-type': 'text/csv; charset=utf-8' })
        return void response.end('site,signal,source_time,received_time,value,quality,reason,qc\r\n')
      case 'GET log':
        return answer(200, { entries: entries.filter((e) => (!loop || e.site === loop.site.id) && e.atMs >= fromMs && e.atMs < toMs).toSorted((a, b) => b.atMs - a.atMs) })
      case 'POST log': {
        const given = newEntrySchema.safeParse(JSON.parse(await bodyText(request)))
        if (!given.success) return fault(400, 'bad-request', given.error.issues.map((i) => `${i.path.join('.') || 'entry'}: ${i.message}`).join('; '))
        const entry: LogEntry = { ...given.data, id: 5000 + entries.length, by: 'Ines C.', recordedMs: nowMs() }
        entries.push(entry)
        tellAll({ t: 'entry', nowMs: nowMs(), entry })
        return answer(201, entry)
      }
      case 'GET machines':
        return loop ? answer(200, fakeMachines(loop.site.equipment, nowMs())) : fault(404, 'unknown-loop', `There is no loop "${first}".`)
      case 'GET quarantine':
        return answer(200, fakeQuarantine(nowMs()))
      case 'GET unassigned':
        return answer(200, await fakeUnassigned({ site: (id) => loops.get(id) ?? null }, nowMs(), adopted))
      case 'GET traffic':
        return answer(
          200,
          fakeTraffic(
            [...loops.values()].map((l) => l.site),
            nowMs(),
          ),
        )
      case 'POST unassigned': {
        const given = adoptRequest.parse(JSON.parse(await bodyText(request)))
        if (refusal) {
          const words = refusal
          refusal = null
          return fault(409, words.code, words.message)
        }
        adopted.add(given.signal)
        return answer(201, { site: given.site, signal: given.signal, file: `${given.site}.yaml`, line: 41, written: `${given.signal}: { quantity: "${given.quantity}" }` })
      }
      case 'GET health':
        return answer(200, fakeHealth(nowMs()))
      default:
        return fault(404, 'unknown-path', `There is nothing at ${url.pathname}.`)
    }
  }

  await new Promise<void>((done) => http.listen(options.port ?? 0, '127.0.0.1', done))
  return {
    url: `http://127.0.0.1:${(http.address() as AddressInfo).port}`,
    asked,
    loops,
    nowMs,
    tell(site, signal, value) {
      const l = loops.get(site)
      if (!l) throw new Error(`no loop ${site}`)
      const r = { ...readingOf(l, signal, nowMs(), nowMs()), value }
      l.latest.set(signal, r)
      for (const [ws, sites] of watching)
        if (sites.includes(site)) send(ws, { t: 'values', nowMs: nowMs(), site, values: [[signal, r.value, r.quality, r.sub, r.sourceMs, r.receivedMs]] })
      tellAll({ t: 'loops', nowMs: nowMs(), loops: [bodyOf(l)] })
    },
    tellFleet() {
      turn++
      const bodies = [...loops.values()].map((l, i) => {
        const b = bodyOf(l)
        return { ...b, waterPct: b.waterPct === null ? null : 20 + ((i * 7 + turn * 3) % 70) }
      })
      const frame = JSON.stringify({ t: 'loops', nowMs: nowMs(), loops: bodies })
      for (const ws of watching.keys()) ws.send(frame)
      return Buffer.byteLength(frame)
    },
    change(site, rule, more, event) {
      change(site, rule, more, event)
    },
    mute(on) {
      muted = on
      if (!on) tellAll({ t: 'beat', nowMs: nowMs(), troubles: [] })
    },
    cut(on) {
      closed = on
      if (on) for (const ws of watching.keys()) ws.close()
    },
    signOut: (on) => (signedOut = on),
    refuseNext: (code, message) => (refusal = { code, message }),
    holdAnswers() {
      let let_go = (): void => {}
      hold = new Promise((r) => (let_go = r))
      return () => let_go()
    },
    async stop() {
      clearInterval(beat)
      clearInterval(readings)
      for (const ws of watching.keys()) ws.terminate()
      http.closeAllConnections()
      await new Promise<void>((done) => http.close(() => done()))
    },
  }
}

async function bodyText(request: IncomingMessage): Promise<string> {
  const parts: Buffer[] = []
  for await (const p of request) parts.push(p as Buffer)
  return Buffer.concat(parts).toString('utf8')
}

/** Without the fields that were sent as nothing. */
const fieldsOf = (fields: object): AlarmFields => Object.fromEntries(Object.entries(fields).filter(([, v]) => v !== undefined))

const queryOf = (q: URLSearchParams): { site?: string; alarm?: string; by?: string } =>
  Object.fromEntries(['site', 'alarm', 'by'].flatMap((n) => (q.get(n) === null ? [] : [[n, q.get(n)]])))

/** What the wake rule itself says of this alarm. */
function callOf(view: AlarmView, loop: Loop, atMs: number): ReturnType<typeof callBodyOf> {
  const views = [...loop.alarms.values()]
  const wake = createWakeKeeper({
    clock: { nowMs: () => atMs, steadyMs: () => 0 },
    standing: () => views,
    alarmsOf: () => views,
    site: () => loop,
    vitals: () => [],
    loopSays: () => ({ onSite: null, asleep: null }),
    onVerdict: () => undefined,
  })
  wake.tick()
  return callBodyOf(view.def.id, wake.of(view.def.id), entryBlockOf(views), loop.site.reach.assumed, recordsOf(loop.site, [view], null)[0]?.protection ?? null)
}
