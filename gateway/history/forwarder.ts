/**
 * Sends what the embedded history has committed on to InfluxDB. The mark how far is durable and moves only when the server has
 * said yes, so a killed process, a killed server or an answer that never came mean that lines are sent twice, which changes nothing
 * there. Away for a day means a backlog on disk and nothing else.
 *
 * Each request has its own deadline (the sender's); up to `inFlight` are under way. A refused batch is halved until the lines
 * that are refused stand alone: those are parked with the server's reason, the rest is stored.
 */
import { setTimeout as after } from 'node:timers/promises'
import type { Clock } from '../clock.ts'
import type { Counter } from '../port.ts'
import type { Feed, FeedMark } from './feed.ts'
import { LATEST_RECORD_MS, lineOf, lineStart } from './line.ts'
import type { LineSender } from './line-sender.ts'

export interface ForwarderOptions {
  readonly feed: Feed
  readonly sender: LineSender
  readonly clock: Clock
  /** Lines of one request. Default 5,000. */
  readonly batchLines?: number
  /** Requests under way at once, 1 to 4. Default 4: packing, sending and the server's own work then overlap. */
  readonly inFlight?: number
  /** How long to wait for more when all is sent. Default 1 s. */
  readonly idleMs?: number
  /** First and longest pause after a failure; each is spread over half to one and a half. Defaults 500 ms and 30 s. */
  readonly pauseMs?: number
  readonly longestPauseMs?: number
  /** The server may be away so long before a person is told. Default 3 minutes. */
  readonly patienceMs?: number
  readonly backlogBound: number
}

export interface Forwarder {
  /** Nothing is waiting and nothing is under way. */
  idle(): boolean
  trouble(): string | null
  counters(): readonly Counter[]
  /** Takes nothing new, waits for requests under way; what is not acknowledged by then is sent again at the next start. */
  stop(options: { withinMs: number }): Promise<void>
}

interface Part {
  readonly mark: FeedMark | null
  readonly work: Promise<void>
  done: boolean
}

class Stopped extends Error {}

export function startForwarder(options: ForwarderOptions): Forwarder {
  const { feed, sender, clock } = options
  const batchLines = options.batchLines ?? 5_000
  const inFlight = Math.min(4, Math.max(1, options.inFlight ?? 4))
  const idleMs = options.idleMs ?? 1_000
  const starts: (string | undefined)[] = []
  const startKeys: (string | undefined)[] = []
  const stop = new AbortController()
  const under: Part[] = []
  /** Texts read from the feed and not yet under way; the mark goes with the last of them. */
  const waiting: { readonly text: string; readonly mark: FeedMark | null }[] = []
  let isIdle = false
  let forwarded = 0
  let failures = 0
  let parkedLost = 0
  let beyond = 0
  let lastPark: string | null = null
  let away: { readonly sinceMs: number; kind: 'down' | 'setup'; message: string } | null = null
  let fault: string | null = null
  /** Total sent at a time, once a second, ten kept. */
  const pace: { readonly atMs: number; readonly total: number }[] = []

  function park(line: string, reason: string): void {
    lastPark = reason
    if (!feed.park(line, reason, clock.nowMs())) parkedLost++
  }

  /** Reads the next texts; false: there is nothing. */
  function read(): boolean {
    let text = ''
    let lines = 0
    const texts: string[] = []
    const mark = feed.next(batchLines, (signal, key, sourceMs, receivedMs, value, code) => {
      let start = starts[signal]
      if (start === undefined || startKeys[signal] !== key) {
        start = lineStart(key)
        starts[signal] = start
        startKeys[signal] = key
      }
      const line = lineOf(start, sourceMs, receivedMs, value, code)
      if (sourceMs > LATEST_RECORD_MS) {
        park(line.trimEnd(), 'its time is after April 2262, the end of the times of InfluxDB')
        return
      }
      text += line
      if (++lines < batchLines) return
      texts.push(text)
      text = ''
      lines = 0
    })
    if (mark === null) return false
    if (lines > 0 || texts.length === 0) texts.push(text)
    texts.forEach((t, i) => waiting.push({ text: t, mark: i === texts.length - 1 ? mark : null }))
    return true
  }

  /** Resolves when every line is stored or parked. Rejects with Stopped. */
  async function deliver(text: string): Promise<void> {
    if (text === '') return
    for (let attempt = 0; ; attempt++) {
      if (stop.signal.aborted) throw new Stopped()
      const sent = await sender.send(text)
      if (sent.ok) {
        away = null
        forwarded += linesIn(text)
        note()
        return
      }
      if (sent.kind === 'refused') {
        away = null
        if (sent.message.includes('beyond retention policy')) {
          // Older than a person lets the server keep: the others of the request are stored.
          beyond += sent.dropped ?? 0
          forwarded += linesIn(text)
          return
        }
        return apart(text, sent.message, sent.dropped)
      }
      failures++
      if (away) {
        away.kind = sent.kind
        away.message = sent.message
      } else away = { sinceMs: clock.steadyMs(), kind: sent.kind, message: sent.message }
      const pauseMs = Math.min(options.longestPauseMs ?? 30_000, (options.pauseMs ?? 500) * 2 ** Math.min(attempt, 20))
      await pause(pauseMs * (0.5 + Math.random()))
    }
  }

  /** Of a refused text, parks the lines the server will not take, however it is asked, and sends the others. */
  async function apart(text: string, reason: string, dropped: number | null): Promise<void> {
    const lines = text.split('\n').slice(0, -1)
    if (lines.length === 1 || dropped === lines.length) {
      for (const line of lines) park(line, reason)
      return
    }
    const half = lines.length >> 1
    await deliver(`${lines.slice(0, half).join('\n')}\n`)
    await deliver(`${lines.slice(half).join('\n')}\n`)
  }

  async function pause(ms: number): Promise<void> {
    await after(ms, undefined, { signal: stop.signal }).catch(() => undefined)
  }

  function note(): void {
    const atMs = clock.steadyMs()
    const last = pace.at(-1)
    if (last && atMs - last.atMs < 1_000) return
    pace.push({ atMs, total: forwarded })
    if (pace.length > 10) pace.shift()
  }

  async function run(): Promise<void> {
    while (!stop.signal.aborted) {
      while (under.length < inFlight && (waiting.length > 0 || read())) {
        const next = waiting.shift()
        if (!next) break
        const part: Part = {
          mark: next.mark,
          done: false,
          work: deliver(next.text).then(
            () => void (part.done = true),
            (e: unknown) => {
              if (!(e instanceof Stopped)) throw e
            },
          ),
        }
        under.push(part)
      }
      isIdle = under.length === 0
      if (isIdle) {
        note()
        await pause(idleMs)
        continue
      }
      await Promise.race(under.filter((p) => !p.done).map((p) => p.work))
      acknowledge()
    }
    await Promise.all(under.map((p) => p.work))
    acknowledge()
  }

  /** In the order they were read: the mark says "all up to here". */
  function acknowledge(): void {
    while (under[0]?.done === true) {
      const { mark } = under[0]
      under.shift()
      if (mark) feed.acknowledge(mark)
    }
  }

  // A fault of the disk or of ours ends a round, not the forwarding: the marks are where they were.
  const running = (async () => {
    while (!stop.signal.aborted) {
      try {
        await run()
        fault = null
      } catch (e) {
        fault = e instanceof Error ? e.message : String(e)
        await Promise.allSettled(under.map((p) => p.work))
        under.length = 0
        waiting.length = 0
        feed.rewind()
        await pause(5_000)
      }
    }
  })()

  return {
    idle: () => isIdle && waiting.length === 0,
    trouble() {
      const { skipped, parked, parkedBound } = feed.stats()
      if (fault !== null) return `Readings are not sent on to ${sender.name}, they wait on disk: ${fault}`
      if (away && (away.kind === 'setup' || clock.steadyMs() - away.sinceMs >= (options.patienceMs ?? 180_000))) {
        const minutes = Math.round((clock.steadyMs() - away.sinceMs) / 60_000)
        return `${sender.name} has taken nothing for ${minutes} min: ${away.message}. ${away.kind === 'setup' ? 'Correct its user, password, database or token. ' : ''}Readings wait on disk and are sent when it is back`
      }
      if (skipped > 0) return `${sender.name} was away so long that ${skipped} readings left the backlog; they are sent from the sealed history, which takes longer`
      if (parked > 0)
        return `${sender.name} will not take ${parked}${parked >= parkedBound ? ' or more' : ''} readings, which are parked in the history file: ${lastPark ?? 'see their reasons there'}`
      return null
    },
    counters() {
      const { backlogBytes, skipped, parked, parkedBound } = feed.stats()
      // Only what was sent within the window: while nothing is sent the rate is none, not an older one that fades.
      const first = pace.find((p) => clock.steadyMs() - p.atMs <= 11_000)
      const seconds = first ? (clock.steadyMs() - first.atMs) / 1_000 : 0
      return [
        {
          name: 'recordBacklogBytes',
          value: backlogBytes,
          bound: options.backlogBound,
          what: 'Committed and not yet in InfluxDB. At the bound the oldest are sent from the sealed blocks instead, later.',
        },
        { name: 'recordForwarded', value: forwarded, what: 'Readings InfluxDB has taken since the start, repeated ones counted again.' },
        {
          name: 'recordForwardRate',
          value: first && seconds > 0 ? Math.round((forwarded - first.total) / seconds) : 0,
          what: 'Readings a second sent to InfluxDB over the last ten seconds or so.',
        },
        { name: 'recordForwardFailures', value: failures, what: 'Requests InfluxDB did not answer or put off; they are sent again.' },
        { name: 'recordSkipped', value: skipped, what: 'Readings that left the backlog at its bound and are still to be sent from the sealed blocks.' },
        { name: 'recordBeyondRetention', value: beyond, what: 'Readings older than the retention set in InfluxDB, which it does not keep.' },
        { name: 'recordParked', value: parked, bound: parkedBound, what: 'Readings InfluxDB refuses, kept with its reason. At the bound further ones are only counted.' },
        { name: 'recordParkedLost', value: parkedLost, what: 'Refused readings there was no room to park; they are in the embedded history.' },
      ]
    },
    async stop({ withinMs }) {
      stop.abort()
      const limit = new AbortController()
      await Promise.race([running, after(withinMs, undefined, { signal: limit.signal }).catch(() => undefined)])
      limit.abort()
      sender.close()
      await running
    },
  }
}

function linesIn(text: string): number {
  let n = 0
  for (let at = text.indexOf('\n'); at >= 0; at = text.indexOf('\n', at + 1)) n++
  return n
}
