import { expect, test } from 'vitest'
import { createAccess } from '../../server/people/access.ts'
import type { Person } from '../../server/people/access.ts'
import { createFanOut } from '../../server/live/fan-out.ts'
import { LIMITS, type LiveLimits } from '../../server/live/limits.ts'
import { liveMessage, type LiveMessage } from '../../server/wire.ts'
import { alarmDef, alarmView, fakeGateway, handClock, NOON, reading, testSite } from './fake-gateway.ts'
import { tempDir } from './yard.ts'

const ANN: Person = { name: 'Ann', via: 'token', key: 'token ann', untilMs: null }

/** A browser that takes everything at once, or nothing while `stuck`. */
function browser() {
  const frames: Buffer[] = []
  const b = {
    stuck: false,
    waitingBytes: 0,
    closed: null as { code: number; reason: string } | null,
    cut: false,
    pings: 0,
    frames,
    get messages(): LiveMessage[] {
      return frames.map((f) => liveMessage.parse(JSON.parse(String(f))))
    },
    get types(): string[] {
      return b.messages.map((m) => m.t)
    },
    forget: () => void frames.splice(0),
    line: {
      send: (frame: Buffer) => {
        frames.push(frame)
        if (b.stuck) b.waitingBytes += frame.length
      },
      waiting: () => b.waitingBytes,
      close: (code: number, reason: string) => void (b.closed = { code, reason }),
      ping: () => void b.pings++,
      cut: () => void (b.cut = true),
    },
  }
  return b
}

async function stage(limits: Partial<LiveLimits> = {}, sites = ['upper', 'lower']) {
  const clock = handClock()
  const gateway = fakeGateway(
    sites.map((id) => testSite(id)),
    clock,
  )
  const access = await createAccess({ dataDir: tempDir(), clock, tokens: [], log: () => {} })
  const log: string[] = []
  const fanOut = createFanOut({ gateway, clock, access, version: '1', limits: { ...LIMITS, ...limits }, log: (l) => void log.push(l) })
  gateway.subscribe((e) => fanOut.onEvent(e))
  const count = (name: string) => fanOut.counters().find((c) => c.name === name)?.value
  return { clock, gateway, fanOut, count, log }
}

const watch = (...values: string[]) => JSON.stringify({ t: 'watch', values })
const valuesOf = (m: LiveMessage | undefined) => (m?.t === 'values' ? Object.fromEntries(m.values.map((v) => [v[0], v[1]])) : null)

test('a browser first gets a hello with the whole fleet as it is now', async () => {
  const { gateway, fanOut } = await stage()
  gateway.push(reading('upper', 'finished.level', 61))
  gateway.setAlarm(alarmView(alarmDef('lower', 'tu.do.low')))
  const a = browser()
  fanOut.join(a.line, ANN)
  expect(a.types).toEqual(['hello'])
  const [hello] = a.messages
  expect(hello?.t === 'hello' && hello.loops.map((l) => [l.id, l.waterPct, l.alarms.length])).toEqual([
    ['upper', 61, 0],
    ['lower', null, 1],
  ])
})

test('values of a watched loop come on the beat, the newest of each signal, and nothing of other loops', async () => {
  const { gateway, fanOut, count } = await stage()
  const a = browser()
  const m = fanOut.join(a.line, ANN)
  fanOut.heard(m, watch('upper'))
  gateway.push(reading('upper', 'tu.do', 7), reading('lower', 'tu.do', 1))
  a.forget()
  fanOut.tick()
  expect(valuesOf(a.messages[0])).toEqual({ 'tu.do': 7 })
  for (const v of [6, 5, 4]) gateway.push(reading('upper', 'tu.do', v, { sourceMs: NOON + 10 - v }))
  gateway.push(reading('upper', 'sump.level', 30))
  a.forget()
  fanOut.tick()
  expect(a.types).toEqual(['values'])
  expect(valuesOf(a.messages[0])).toEqual({ 'tu.do': 4, 'sump.level': 30 })
  expect(count('browserReplaced')).toBe(2)
  a.forget()
  fanOut.tick()
  expect(a.types).toEqual([])
})

test('a newly watched loop is sent with all its values, also those that came before', async () => {
  const { gateway, fanOut } = await stage()
  gateway.push(reading('upper', 'tu.do', 7), reading('upper', 'sump.level', null))
  const a = browser()
  const m = fanOut.join(a.line, ANN)
  a.forget()
  fanOut.heard(m, watch('upper', 'upper', 'no-such-loop'))
  fanOut.tick()
  expect(valuesOf(a.messages[0])).toEqual({ 'tu.do': 7, 'sump.level': null })
  expect(a.types).toEqual(['values'])
})

test('a second watch replaces the first', async () => {
  const { gateway, fanOut } = await stage()
  const a = browser()
  const m = fanOut.join(a.line, ANN)
  fanOut.heard(m, watch('upper'))
  fanOut.heard(m, watch('lower'))
  gateway.push(reading('upper', 'tu.do', 7), reading('lower', 'tu.do', 5))
  a.forget()
  fanOut.tick()
  expect(a.messages.map((x) => x.t === 'values' && x.site)).toEqual(['lower'])
})

test('all browsers that watch a loop are given the very same bytes', async () => {
  const { gateway, fanOut, clock } = await stage()
  const all = Array.from({ length: 5 }, () => browser())
  for (const b of all) fanOut.heard(fanOut.join(b.line, ANN), watch('upper'))
  fanOut.tick()
  for (const b of all) b.forget()
  gateway.push(reading('upper', 'finished.level', 7))
  clock.advance(1000)
  fanOut.tick()
  for (const b of all) expect(b.types).toEqual(['loops', 'values'])
  for (const b of all) expect([b.frames[0] === all[0]?.frames[0], b.frames[1] === all[0]?.frames[1]]).toEqual([true, true])
})

test('loops that changed come once a second and only those', async () => {
  const { gateway, fanOut, clock } = await stage()
  const a = browser()
  fanOut.join(a.line, ANN)
  clock.advance(1000)
  fanOut.tick()
  a.forget()
  gateway.push(reading('upper', 'finished.level', 40))
  clock.advance(999)
  fanOut.tick()
  expect(a.types).toEqual([])
  gateway.push(reading('upper', 'finished.level', 39))
  clock.advance(1)
  fanOut.tick()
  const loops = a.messages.find((m) => m.t === 'loops')
  expect(loops?.t === 'loops' && loops.loops.map((l) => [l.id, l.waterPct])).toEqual([['upper', 39]])
  a.forget()
  clock.advance(1000)
  fanOut.tick()
  expect(a.types.filter((t) => t === 'loops')).toEqual([])
})

test('a change told in a hello is also told to those who were there before', async () => {
  const { gateway, fanOut, clock } = await stage()
  const old = browser()
  fanOut.join(old.line, ANN)
  gateway.push(reading('upper', 'finished.level', 40))
  fanOut.join(browser().line, ANN)
  old.forget()
  clock.advance(1000)
  fanOut.tick()
  expect(old.messages.flatMap((m) => (m.t === 'loops' ? m.loops.map((l) => l.waterPct) : []))).toEqual([40])
})

test('screens that come back together share one hello, and what changed meanwhile reaches each of them within a second', async () => {
  const { gateway, fanOut, clock } = await stage()
  const all = [browser(), browser(), browser()]
  for (const [i, b] of all.entries()) {
    fanOut.join(b.line, ANN)
    gateway.push(reading('upper', 'finished.level', 50 + i))
  }
  expect(all.every((b) => b.frames[0] === all[0]?.frames[0])).toBe(true)
  clock.advance(1000)
  fanOut.tick()
  for (const b of all) expect(b.messages.flatMap((m) => (m.t === 'loops' ? m.loops.map((l) => l.waterPct) : []))).toEqual([52])
  gateway.tellAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const late = browser()
  fanOut.join(late.line, ANN)
  expect(late.messages[0]?.t === 'hello' && late.messages[0].loops[0]?.alarms).toHaveLength(1)
})

test('a level that turns stale is told within 10 s though nothing happens', async () => {
  const { gateway, fanOut, clock } = await stage()
  gateway.push(reading('upper', 'finished.level', 40))
  const a = browser()
  fanOut.join(a.line, ANN)
  clock.advance(3 * 60_000 + 10_001)
  a.forget()
  for (let i = 0; i <= 40; i++) {
    clock.advance(250)
    fanOut.tick()
  }
  const told = a.messages.flatMap((m) => (m.t === 'loops' ? m.loops : [])).find((l) => l.id === 'upper')
  expect(told?.waterPct).toBeNull()
})

test('a loop that falls silent is told with the next loops', async () => {
  const { gateway, fanOut, clock } = await stage()
  const a = browser()
  fanOut.join(a.line, ANN)
  gateway.setSilent('lower', true)
  clock.advance(1000)
  fanOut.tick()
  expect(a.messages.flatMap((m) => (m.t === 'loops' ? m.loops.filter((l) => l.silent).map((l) => l.id) : []))).toEqual(['lower'])
})

test('an alarm is told at once, each change by itself and in order, and the next hello has it', async () => {
  const { gateway, fanOut } = await stage()
  const a = browser()
  fanOut.join(a.line, ANN)
  const view = alarmView(alarmDef('upper', 'tu.do.low'))
  gateway.tellAlarm(view, 'raised')
  gateway.tellAlarm({ ...view, state: 'acknowledged', version: 4 }, 'acknowledged')
  gateway.tellAlarm({ ...view, state: 'normal', version: 5, occurrence: null }, 'cleared')
  expect(a.types).toEqual(['hello', 'alarm', 'alarm', 'alarm'])
  expect(a.messages.flatMap((m) => (m.t === 'alarm' ? [[m.event, m.alarm.state, m.alarm.version]] : []))).toEqual([
    ['raised', 'unacknowledged', 3],
    ['acknowledged', 'acknowledged', 4],
    ['cleared', 'normal', 5],
  ])
  gateway.tellAlarm({ ...view, version: 6 }, 'raised')
  const b = browser()
  fanOut.join(b.line, ANN)
  expect(b.messages[0]?.t === 'hello' && b.messages[0].loops[0]?.alarms.map((x) => x.version)).toEqual([6])
})

test('a log entry is told at once', async () => {
  const { gateway, fanOut } = await stage()
  const a = browser()
  fanOut.join(a.line, ANN)
  await gateway.log.add({ site: 'upper', kind: 'note', atMs: NOON, text: 'foam' }, 'Ann')
  expect(a.messages.at(-1)).toMatchObject({ t: 'entry', entry: { text: 'foam', by: 'Ann' } })
})

test('a beat comes every 2 s though nothing happens, and with the hello it says what is wrong with the product', async () => {
  const { fanOut, clock } = await stage()
  const a = browser()
  fanOut.join(a.line, ANN)
  expect(a.messages).toMatchObject([{ t: 'hello', troubles: ['the disk is nearly full'] }])
  a.forget()
  for (let i = 0; i < 24; i++) {
    clock.advance(250)
    fanOut.tick()
  }
  expect(a.messages.flatMap((m) => (m.t === 'beat' ? [[m.nowMs - NOON, m.troubles]] : []))).toEqual([2000, 4000, 6000].map((ms) => [ms, ['the disk is nearly full']]))
})

test('a browser that reads slowly misses beats, not values: afterwards it gets the newest of each in one frame', async () => {
  const { gateway, fanOut, clock, count } = await stage({ slowBytes: 1000 })
  const slow = browser()
  const quick = browser()
  for (const b of [slow, quick]) fanOut.heard(fanOut.join(b.line, ANN), watch('upper'))
  fanOut.tick()
  slow.stuck = true
  slow.waitingBytes = 1001
  slow.forget()
  quick.forget()
  for (let v = 9; v > 5; v--) {
    gateway.push(reading('upper', 'tu.do', v), reading('upper', 'sump.level', v * 10))
    clock.advance(1000)
    fanOut.tick()
  }
  expect(slow.types).toEqual([])
  expect(quick.types.filter((t) => t === 'values')).toHaveLength(4)
  expect(count('browserSkipped')).toBe(4)
  slow.waitingBytes = 0
  clock.advance(1000)
  fanOut.tick()
  expect(slow.messages.map((m) => m.t)).toEqual(expect.arrayContaining(['loops', 'values']))
  expect(valuesOf(slow.messages.find((m) => m.t === 'values'))).toEqual({ 'tu.do': 6, 'sump.level': 60 })
  const loops = slow.messages.find((m) => m.t === 'loops')
  expect(loops?.t === 'loops' && loops.loops.map((l) => l.id)).toContain('upper')
  expect(slow.closed).toBeNull()
})

test('a browser for which too much waits is closed with 4008 and counted, before an alarm is dropped, while the others go on', async () => {
  const { gateway, fanOut, clock, count } = await stage({ outboxBytes: 30_000, slowBytes: 1000 })
  const slow = browser()
  const quick = browser()
  fanOut.join(slow.line, ANN)
  fanOut.join(quick.line, ANN)
  slow.stuck = true
  slow.forget()
  quick.forget()
  const view = alarmView(alarmDef('upper', 'tu.do.low'))
  for (let i = 0; i < 40; i++) gateway.tellAlarm({ ...view, version: i })
  expect(quick.types).toHaveLength(40)
  expect(slow.closed?.code).toBe(4008)
  expect(slow.messages.map((m) => m.t === 'alarm' && m.alarm.version)).toEqual(Array.from({ length: slow.types.length }, (_, i) => i))
  expect(slow.waitingBytes).toBeLessThanOrEqual(30_000)
  expect(count('browserClosed')).toBe(1)
  clock.advance(5000)
  fanOut.tick()
  expect(slow.cut).toBe(true)
  expect(quick.cut).toBe(false)
})

test('a browser that takes nothing for 30 s is closed, one that takes a little is not', async () => {
  const { fanOut, clock, count } = await stage({ slowBytes: 1000 })
  const stuck = browser()
  const slow = browser()
  for (const b of [stuck, slow]) fanOut.join(b.line, ANN)
  stuck.waitingBytes = 90_000
  slow.waitingBytes = 90_000
  for (let i = 0; i < 40; i++) {
    clock.advance(1000)
    slow.waitingBytes -= 100
    fanOut.tick()
  }
  expect(stuck.closed?.code).toBe(4008)
  expect(slow.closed).toBeNull()
  expect(count('browserClosed')).toBe(1)
})

test('a fleet whose hello is larger than the outbox still gets through', async () => {
  const { gateway, fanOut } = await stage(
    { outboxBytes: 100 },
    Array.from({ length: 20 }, (_, i) => (i === 0 ? 'upper' : `loop-${i}`)),
  )
  const a = browser()
  a.stuck = true
  fanOut.join(a.line, ANN)
  gateway.tellAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  expect(a.frames[0]?.length).toBeGreaterThan(100)
  expect([a.types, a.closed]).toEqual([['hello', 'alarm'], null])
})

test('a connection that leaves a ping unanswered is cut, one that answers stays', async () => {
  const { fanOut, clock, count } = await stage({ pingMs: 15_000 })
  const dead = browser()
  const alive = browser()
  fanOut.join(dead.line, ANN)
  const m = fanOut.join(alive.line, ANN)
  clock.advance(15_000)
  fanOut.tick()
  m.answeredPing = true
  clock.advance(15_000)
  fanOut.tick()
  expect([dead.cut, alive.cut, alive.pings, count('browserDead')]).toEqual([true, false, 2, 1])
})

test.each([
  ['nothing JSON', '{', 'no JSON'],
  ['another kind', '{"t":"command","values":[]}', 'not understood'],
  ['an unknown field', '{"t":"watch","values":[],"x":1}', 'not understood'],
  ['51 loops', watch(...Array.from({ length: 51 }, (_, i) => `s${i}`)), 'not understood'],
  ['a name of 65 characters', watch('x'.repeat(65)), 'not understood'],
  ['values that are no list', '{"t":"watch","values":"upper"}', 'not understood'],
])('a message with %s closes the connection, saying why', async (_, text, says) => {
  const { fanOut, count } = await stage()
  const a = browser()
  fanOut.heard(fanOut.join(a.line, ANN), text)
  expect(a.closed).toEqual({ code: 1008, reason: expect.stringContaining(says) })
  expect(count('browserBadMessages')).toBe(1)
})

test('fifty loops may be watched, and a browser that asks more than 120 times a minute is closed', async () => {
  const { fanOut, clock } = await stage()
  const a = browser()
  const m = fanOut.join(a.line, ANN)
  fanOut.heard(m, watch(...Array.from({ length: 50 }, (_, i) => `s${i}`)))
  for (let i = 0; i < 119; i++) fanOut.heard(m, watch('upper'))
  expect(a.closed).toBeNull()
  clock.advance(60_000)
  for (let i = 0; i < 120; i++) fanOut.heard(m, watch('upper'))
  expect(a.closed).toBeNull()
  fanOut.heard(m, watch('upper'))
  expect(a.closed?.reason).toContain('120 messages in a minute')
})

test('browsers are told to come back at different times when the server stops', async () => {
  const { fanOut } = await stage()
  const all = Array.from({ length: 30 }, () => browser())
  for (const b of all) fanOut.join(b.line, ANN)
  fanOut.away()
  const delays = all.map((b) => b.messages.at(-1)).map((m) => (m?.t === 'away' ? m.afterMs : -1))
  expect(Math.min(...delays)).toBeGreaterThanOrEqual(1000)
  expect(Math.max(...delays)).toBeLessThan(8000)
  expect(new Set(delays).size).toBeGreaterThan(5)
  expect(all.every((b) => b.closed?.code === 1001)).toBe(true)
})

test('what cannot be told is counted and logged once, and never thrown at the gateway', async () => {
  const { gateway, fanOut, count, log } = await stage()
  fanOut.join(browser().line, ANN)
  const broken = alarmView(alarmDef('upper', 'x'))
  Object.defineProperty(broken, 'value', {
    get: () => {
      throw new Error('broken view')
    },
  })
  const event = {
    alarm: 'upper/x',
    occurrence: 'o',
    kind: 'raised',
    atMs: 0,
    recordedMs: 0,
    state: 'unacknowledged',
    value: 0,
    limit: 0,
    unit: '',
    by: null,
    note: null,
    defVersion: 1,
  } as const
  for (let i = 0; i < 3; i++) fanOut.onEvent({ kind: 'alarm', event, view: broken })
  expect(count('browserEventFaults')).toBe(3)
  expect(log).toHaveLength(1)
  const b = browser()
  fanOut.join(b.line, ANN)
  gateway.tellAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  expect(b.types).toEqual(['hello', 'alarm'])
})

test('a fleet of 2,000 loops is one hello, and one changed loop one small frame', async () => {
  const { gateway, fanOut, clock } = await stage(
    {},
    Array.from({ length: 2000 }, (_, i) => `loop-${i}`),
  )
  for (let i = 0; i < 3; i++) fanOut.tick()
  const a = browser()
  fanOut.join(a.line, ANN)
  expect(a.messages[0]?.t === 'hello' && a.messages[0].loops.length).toBe(2000)
  a.forget()
  gateway.push(reading('loop-77', 'finished.level', 12))
  clock.advance(1000)
  fanOut.tick()
  expect(a.messages.flatMap((m) => (m.t === 'loops' ? m.loops.map((l) => l.id) : []))).toEqual(['loop-77'])
})
