/** Parts the intake tests share: a small yard, a store that can be told to refuse, a clock moved by hand, waiting without sleeping. */
import { createServer } from 'node:net'
import type { AddressInfo } from 'node:net'
import type { Clock } from '../../gateway/clock.ts'
import type { AppendResult } from '../../gateway/history/history.ts'
import { createIntake, type Intake, type IntakeParts } from '../../gateway/intake/intake.ts'
import type { Message } from '../../gateway/intake/message.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'

export const PREFIX = 'loopkeeper/v1'
/** 2026-03-02T08:00:00Z, a Monday. */
export const NOW = 1_772_438_400_000

/** A small loop reporting every minute; `tu.do` in mg/L, `sump.high` a float, `blower.starts` a counter. */
export function yard(id: string, extra = ''): Site {
  const text = `
id: ${id}
name: Ostrand bus depot
zone: Europe/Lisbon
reportEvery: 60s
train: [{ stage: sump }, { stage: treatment }, { stage: bio }, { stage: finished }]
signals:
  tu.do:
  tu.ph:
  bio1.do:
  bio1.temperature:
  finished.level:
  sump.high:
  blower.starts:
${extra}`
  const read = readSiteFile(`${id}.yaml`, text)
  if (!read.ok) throw new Error(JSON.stringify(read.faults))
  return read.site
}

export const fleet = (...ids: readonly string[]): ReadonlyMap<string, Site> => new Map(ids.map((id) => [id, yard(id)]))

export interface HandClock extends Clock {
  atMs: number
}
export function handClock(atMs = NOW): HandClock {
  const clock: HandClock = { atMs, nowMs: () => clock.atMs, steadyMs: () => clock.atMs }
  return clock
}
export const realClock: Clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }

/** A store in memory with the rules of the history port. */
export interface FakeHistory {
  commit(batch: readonly Reading[]): AppendResult
  refuses: boolean
  readonly stored: Reading[]
  /** How often each (key, time) was stored; the promise is once. */
  timesStored(key: string, sourceMs: number): number
  readonly commits: number
}
export function fakeHistory(): FakeHistory {
  const seen = new Map<string, Map<number, number | null>>()
  let commits = 0
  const stored: Reading[] = []
  return {
    stored,
    refuses: false,
    get commits() {
      return commits
    },
    commit(batch) {
      if (this.refuses) throw new Error('disk full')
      commits++
      const result = { stored: 0, duplicate: 0, conflict: 0 }
      for (const r of batch) {
        let of = seen.get(r.key)
        if (!of) seen.set(r.key, (of = new Map()))
        if (!of.has(r.sourceMs)) {
          of.set(r.sourceMs, r.value)
          stored.push(r)
          result.stored++
        } else if (of.get(r.sourceMs) === r.value) result.duplicate++
        else result.conflict++
      }
      return result
    },
    timesStored: (key, sourceMs) => stored.filter((r) => r.key === key && r.sourceMs === sourceMs).length,
  }
}

export const bytes = (text: string): Uint8Array => new TextEncoder().encode(text)

export const message = (topic: string, payload: string | Uint8Array, over: Partial<Message> = {}): Message => ({
  topic: `${PREFIX}/${topic}`,
  payload: typeof payload === 'string' ? bytes(payload) : payload,
  receivedMs: NOW,
  retained: false,
  site: null,
  broker: 'test',
  ...over,
})

export interface Bench {
  readonly intake: Intake
  readonly history: FakeHistory
  readonly clock: HandClock
  /** What was told to the rest of the house, in order. */
  readonly told: Reading[]
}
export function intakeWith(over: Partial<IntakeParts> = {}): Bench {
  const history = fakeHistory()
  const clock = handClock()
  const told: Reading[] = []
  const sites = fleet('ostrand', 'kestrow')
  const intake = createIntake({ sites: () => sites, history, clock, prefix: PREFIX, onReadings: (r) => void told.push(...r), ...over })
  return { intake, history, clock, told }
}

/** For a broker: each message by itself, answered before the offer returns. */
export const atOnce =
  (take: (m: Message) => void) =>
  (m: Message, done: (refused: Error | null) => void): void => {
    try {
      take(m)
    } catch (e) {
      return done(e as Error)
    }
    done(null)
  }

export const count = (parts: { counters(): readonly { name: string; value: number }[] }, name: string): number => {
  const found = parts.counters().find((c) => c.name === name)
  if (!found) throw new Error(`no counter ${name}`)
  return found.value
}

/** Waits until `holds` is true, or fails with `what` after the deadline. */
export async function until(what: string, holds: () => boolean, withinMs = 10_000): Promise<void> {
  const end = performance.now() + withinMs
  while (!holds()) {
    if (performance.now() > end) throw new Error(`not within ${withinMs} ms: ${what}`)
    await new Promise((resolve) => setTimeout(resolve, 5))
  }
}

/** A loopback port that was free a moment ago. */
export async function freePort(): Promise<number> {
  const server = createServer()
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  const { port } = server.address() as AddressInfo
  await new Promise((resolve) => server.close(resolve))
  return port
}
