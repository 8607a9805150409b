/** What rules have learned, over a restart of the real keeper with its files. */
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import type { Rule } from '../../../gateway/alarms/alarm.ts'
import { startAlarmKeeper, type AlarmKeeper } from '../../../gateway/alarms/keeper.ts'
import { openLearnedFiles } from '../../../gateway/learned-files.ts'
import { makeDisk, settled, type Disk } from '../disk.ts'
import { handClock, reading, SITE, type HandClock } from '../yard.ts'
import { alarm, DAY, HOUR, MIN, MONDAY, yard } from './yard.ts'

let disk: Disk
let dir: string
beforeEach(() => {
  disk = makeDisk()
  dir = mkdtempSync(join(tmpdir(), 'learned-'))
})
afterEach(async () => {
  await disk.remove()
  rmSync(dir, { recursive: true })
})

const step: Rule = {
  kind: 'deviation',
  signal: 'tu.orp',
  from: { kind: 'median', spanMs: 7 * DAY, leastMs: DAY },
  as: 'difference',
  side: 'low',
  limit: -150,
  deadband: 30,
  onDelayMs: 10 * MIN,
  offDelayMs: 10 * MIN,
}

interface Running {
  readonly keeper: AlarmKeeper
  readonly emitted: string[]
  rows(ms: number, orp: number): void
  close(): Promise<void>
}

async function start(clock: HandClock, rule = step): Promise<Running> {
  const { db, journal } = await disk.open()
  const emitted: string[] = []
  const keeper = await startAlarmKeeper({
    sites: new Map([[SITE, yard()]]),
    defs: [alarm(rule)],
    journal,
    clock,
    learned: openLearnedFiles(dir),
    emit: (event) => emitted.push(event.kind),
  })
  return {
    keeper,
    emitted,
    rows(ms, orp) {
      for (let at = 0; at < ms; at += MIN) {
        keeper.onReadings([reading('tu.orp', orp, clock.nowMs())])
        clock.advance(MIN)
        keeper.tick(clock.nowMs(), () => clock.nowMs())
      }
    },
    async close() {
      await keeper.stop()
      await db.destroy()
    },
  }
}

const waiting = (r: Running): Promise<void> => settled(() => r.keeper.counters().find((c) => c.name === 'journalWaiting')?.value === 0, 'an empty queue')

test('after a restart a rule over a week of its own is not blind for a week', async () => {
  const clock = handClock(MONDAY)
  const before = await start(clock)
  before.rows(2 * DAY, 250)
  await before.close()
  const after = await start(clock)
  after.rows(15 * MIN, 60)
  await waiting(after)
  expect(after.emitted).toEqual(['raised'])
  await after.close()
})

test('a restart raises nothing anew that stood, and clears it when it is over', async () => {
  const clock = handClock(MONDAY)
  const before = await start(clock)
  before.rows(2 * DAY, 250)
  before.rows(HOUR, 60)
  await before.close()
  expect(before.emitted).toEqual(['raised'])
  const after = await start(clock)
  after.rows(2 * HOUR, 60)
  await waiting(after)
  expect(after.emitted).toEqual([])
  after.rows(30 * MIN, 250)
  await waiting(after)
  expect(after.emitted).toEqual(['cleared'])
  await after.close()
})

test('killed without a stop, at most ten minutes of learning are gone', async () => {
  const clock = handClock(MONDAY)
  const killed = await start(clock)
  killed.rows(2 * DAY, 250)
  expect(readdirSync(dir)).toEqual([`${SITE}.json`])
  const after = await start(clock)
  after.rows(15 * MIN, 60)
  await waiting(after)
  expect(after.emitted).toEqual(['raised'])
  await after.close()
  await killed.close()
})

test.each(['', '{', '{"form":1,"alarms":{"gravel-yard-2/x":{"tu.orp median 604800000":[["a"]]}}}', '{"form":2,"alarms":{}}'])(
  'a damaged file (%s) is passed by: the rule learns anew and says nothing until it has',
  async (text) => {
    const clock = handClock(MONDAY)
    writeFileSync(join(dir, `${SITE}.json`), text)
    const r = await start(clock)
    r.rows(30 * MIN, 60)
    await waiting(r)
    expect(r.emitted).toEqual([])
    await r.close()
  },
)

test('a calibration begins the median of its probe anew, and that of no other', async () => {
  const clock = handClock(MONDAY)
  const r = await start(clock)
  r.rows(2 * DAY, 250)
  r.keeper.forget(SITE, 'tu.do')
  r.keeper.forget(SITE, 'tu.orp')
  r.rows(HOUR, 60)
  await waiting(r)
  expect(r.emitted).toEqual([])
  await r.close()
  const again = await start(clock)
  again.rows(HOUR, -200)
  await waiting(again)
  expect(again.emitted).toEqual([])
  await again.close()
})

test('a limit that is moved keeps the median, a span that is changed begins anew', async () => {
  const clock = handClock(MONDAY)
  const before = await start(clock)
  before.rows(2 * DAY, 250)
  await before.close()
  const moved = await start(clock, { ...step, limit: -100 } as Rule)
  moved.rows(15 * MIN, 130)
  await waiting(moved)
  expect(moved.emitted).toEqual(['raised'])
  await moved.close()
})
