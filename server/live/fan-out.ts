/**
 * From gateway events to browsers. Values and loops go out on a beat, the newest of each, and wait while a browser reads slowly.
 * Alarms and log entries go out at once and are never dropped: a browser for which too much waits is closed, and its next
 * hello has everything.
 */
import { randomInt } from 'node:crypto'
import type { Clock } from '../../gateway/clock.ts'
import type { Counter, GatewayEvent, GatewayPort } from '../../gateway/port.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import type { Access, Person } from '../people/access.ts'
import { CLOSED_SIGNED_OUT, CLOSED_TOO_SLOW } from '../wire.ts'
import { createFleet } from './fleet.ts'
import { alarmFrame, entryFrame, frameOf } from './frames.ts'
import type { LiveLimits } from './limits.ts'
import { newMember, type Line, type Member } from './member.ts'
import { readWatch, withinRate } from './messages.ts'
import { createSiteValues } from './site-values.ts'

export interface FanOutParts {
  readonly gateway: GatewayPort
  readonly clock: Clock
  readonly access: Access
  readonly version: string
  readonly limits: LiveLimits
  readonly log: (line: string) => void
}

export interface FanOut {
  /** Whether one more may come. */
  hasRoom(person: Person): boolean
  join(line: Line, person: Person): Member
  /** A text message from a browser. */
  heard(member: Member, text: string): void
  left(member: Member): void
  onEvent(event: GatewayEvent): void
  /** Every `beatMs`. */
  tick(): void
  /** Says goodbye to all, each with its own time to come back. */
  away(): void
  members(): ReadonlySet<Member>
  counters(): readonly Counter[]
}

const FLEET_MS = 1000
const BEAT_MS = 2000
/** A close frame waits behind everything else: who has not answered it by then is cut. */
const CLOSE_MS = 5000

export function createFanOut(parts: FanOutParts): FanOut {
  const { gateway, clock, limits } = parts
  const members = new Set<Member>()
  const fleet = createFleet(gateway)
  const values = createSiteValues()
  let helloBytes = 0
  const due = { fleetMs: clock.steadyMs() + FLEET_MS, beatMs: clock.steadyMs() + BEAT_MS, pingMs: clock.steadyMs() + limits.pingMs }
  const counts = { skipped: 0, closedSlow: 0, dead: 0, badMessages: 0, frames: 0, eventFaults: 0 }

  const give = (m: Member, frame: Buffer): void => {
    counts.frames++
    m.line.send(frame)
  }
  const dismiss = (m: Member, code: number, reason: string): void => {
    if (m.cutAtMs !== null) return
    m.cutAtMs = clock.steadyMs() + CLOSE_MS
    m.line.close(code, reason)
  }
  const tooSlow = (m: Member): void => {
    counts.closedSlow++
    dismiss(m, CLOSED_TOO_SLOW, 'too much is waiting for this browser: come back for a fresh start')
  }
  /** Counted before it is added. */
  const giveAtOnce = (m: Member, frame: Buffer): void => {
    if (m.cutAtMs !== null) return
    if (m.line.waiting() + frame.length > Math.max(limits.outboxBytes, 2 * helloBytes)) tooSlow(m)
    else give(m, frame)
  }

  /** True when a browser reads fast enough for values and loops; closes one that has taken nothing for long. */
  function keepsUp(m: Member, steadyMs: number): boolean {
    const bytes = m.line.waiting()
    if (bytes <= limits.slowBytes) {
      m.stuck = null
      return true
    }
    counts.skipped++
    if (m.stuck === null || bytes < m.stuck.bytes) m.stuck = { sinceMs: steadyMs, bytes }
    else if (steadyMs - m.stuck.sinceMs > limits.stuckMs) tooSlow(m)
    return false
  }

  function sendValues(m: Member, turn: number, nowMs: number): void {
    for (const [site, seen] of m.watches) {
      const state = gateway.site(site)
      const frame = state && values.since(state, seen, nowMs)
      if (frame) give(m, frame)
      m.watches.set(site, turn)
    }
  }

  function pingAll(): void {
    for (const m of members) {
      if (m.answeredPing) {
        m.answeredPing = false
        m.line.ping()
      } else {
        counts.dead++
        m.line.cut()
      }
    }
  }

  return {
    hasRoom: (person) => members.size < limits.browsers && [...members].filter((m) => m.person.key === person.key).length < limits.browsersPerPerson,
    join(line, person) {
      const { frame, turn } = fleet.hello(clock.nowMs(), parts.version)
      helloBytes = frame.length
      const m = newMember(line, person, turn, clock.steadyMs())
      members.add(m)
      give(m, frame)
      return m
    },
    heard(m, text) {
      if (m.cutAtMs !== null) return
      const message = withinRate(m, limits.messagesPerMin, clock.steadyMs()) ? readWatch(text) : `more than ${limits.messagesPerMin} messages in a minute`
      if (typeof message === 'string') {
        counts.badMessages++
        dismiss(m, 1008, message)
      } else values.follow(m.watches, message.values, (site) => gateway.site(site) !== null)
    },
    left(m) {
      if (!members.delete(m)) return
      values.follow(m.watches, [], () => false)
    },
    onEvent(event) {
      // The gateway must not hear of a failure here, and the others must not miss their event.
      try {
        const nowMs = clock.nowMs()
        if (event.kind === 'readings') {
          values.take(event.readings)
          for (const r of event.readings) fleet.touch(siteOfKey(r.key), 'soon')
          return
        }
        if (event.kind === 'wake') return
        const site = event.kind === 'alarm' ? event.view.def.site : event.kind === 'log' ? event.entry.site : event.site
        fleet.touch(site, 'now')
        if (event.kind === 'site' || event.kind === 'state' || members.size === 0) return
        const state = gateway.site(site)
        const frame = event.kind === 'defined' ? frameOf({ t: 'defined', nowMs, site }) : event.kind === 'log' ? entryFrame(event, nowMs) : state && alarmFrame(event, state, nowMs)
        if (frame) for (const m of members) giveAtOnce(m, frame)
      } catch (e) {
        counts.eventFaults++
        if (counts.eventFaults === 1) parts.log(`BUG: an event could not be told to browsers: ${e instanceof Error ? e.stack : String(e)}`)
      }
    },
    tick() {
      const nowMs = clock.nowMs()
      const steadyMs = clock.steadyMs()
      const turn = values.next()
      const fleetDue = steadyMs >= due.fleetMs
      const beatDue = steadyMs >= due.beatMs
      if (fleetDue) due.fleetMs = steadyMs + FLEET_MS
      if (beatDue) due.beatMs = steadyMs + BEAT_MS
      fleet.work(nowMs)
      const fleetTurn = fleetDue ? fleet.next() : null
      const beat = beatDue ? frameOf({ t: 'beat', nowMs, troubles: [...gateway.troubles()] }) : null
      for (const m of members) {
        if (m.cutAtMs !== null) {
          if (steadyMs >= m.cutAtMs) m.line.cut()
          continue
        }
        if (!parts.access.stillIn(m.person)) {
          dismiss(m, CLOSED_SIGNED_OUT, 'the session has ended: sign in again')
          continue
        }
        if (!keepsUp(m, steadyMs)) continue
        if (fleetTurn !== null) {
          const loops = fleet.since(m.fleetSeen, nowMs)
          if (loops) give(m, loops)
          m.fleetSeen = fleetTurn
        }
        sendValues(m, turn, nowMs)
        if (beat) give(m, beat)
      }
      if (steadyMs >= due.pingMs) {
        due.pingMs = steadyMs + limits.pingMs
        pingAll()
      }
    },
    away() {
      for (const m of members) {
        if (m.cutAtMs !== null) continue
        // Spread, so that a fleet of screens does not come back in the same instant.
        give(m, frameOf({ t: 'away', afterMs: randomInt(1000, 8000) }))
        dismiss(m, 1001, 'the server is stopping')
      }
    },
    members: () => members,
    counters: () => [
      { name: 'browsers', value: members.size, bound: limits.browsers, what: 'Live connections. When full a further one is refused with 503.' },
      { name: 'browserFrames', value: counts.frames, what: 'Messages given to browsers since the start.' },
      { name: 'browserReplaced', value: values.replaced(), what: 'Values replaced by a newer one before any browser was sent them.' },
      {
        name: 'browserSkipped',
        value: counts.skipped,
        what: `Beats that passed over a browser with more than ${limits.slowBytes} bytes waiting; it gets the newest values later.`,
      },
      {
        name: 'browserClosed',
        value: counts.closedSlow,
        what: `Browsers closed because more than ${limits.outboxBytes} bytes waited, or nothing was taken for ${limits.stuckMs / 1000} s. They come back to a fresh start.`,
      },
      { name: 'browserDead', value: counts.dead, what: 'Connections cut because a ping went unanswered.' },
      { name: 'browserBadMessages', value: counts.badMessages, what: 'Messages from browsers that were not understood or came too often; the connection was closed.' },
      { name: 'browserEventFaults', value: counts.eventFaults, what: 'Events that could not be told to browsers because of a failure of ours.' },
    ],
  }
}
