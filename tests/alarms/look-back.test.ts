import { afterEach, beforeEach, expect, test } from 'vitest'
import type { AlarmDef, AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { startAlarmKeeper, type AlarmKeeper } from '../../gateway/alarms/keeper.ts'
import type { HistoryReading } from '../../gateway/history/history.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { makeDisk, settled, type Disk } from './disk.ts'
import { handClock, limitDef, loop, reading, SITE } from './yard.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

const slow = limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.2, onDelayMs: 3_600_000, offDelayMs: 600_000 })

/** A yard whose readings are stored, with a keeper that can be stopped and started at any minute. */
function yard(defs: readonly AlarmDef[] = [slow]) {
  const clock = handClock()
  const t0 = clock.nowMs()
  const store = new Map<string, HistoryReading[]>()
  const asked: string[] = []
  const told: string[] = []
  let keeper: AlarmKeeper | null = null
  let close: () => Promise<void> = () => Promise.resolve()
  const write = (r: Reading): void => {
    const { key, clock: _, live: __, ...stored } = r
    store.set(key, [...(store.get(key) ?? []), stored])
  }
  const emit = (e: AlarmEvent): void => void told.push(`${e.kind} @${(e.atMs - t0) / 60_000}`)
  return {
    told,
    asked,
    async start() {
      const { db, journal } = await disk.open()
      const latest = new Map([...store].flatMap(([key, all]) => (all.at(-1) ? [[key, all.at(-1) as HistoryReading] as const] : [])))
      const history = {
        range: (key: string, fromMs: number, toMs: number, limit: number) => {
          asked.push(key)
          return Promise.resolve((store.get(key) ?? []).filter((r) => r.sourceMs >= fromMs && r.sourceMs < toMs).slice(0, limit))
        },
      }
      keeper = await startAlarmKeeper({ sites: new Map([[SITE, loop()]]), defs, journal, clock, latest, history, emit })
      close = async () => {
        await keeper?.stop()
        await db.destroy()
      }
    },
    async stop() {
      await close()
      keeper = null
    },
    /** One reading a half-minute; stored in any case, judged when a keeper runs. */
    minutes(n: number, value: number | null) {
      for (let i = 0; i < n * 2; i++) {
        const r = reading('tu.do', value, clock.nowMs())
        write(r)
        keeper?.onReadings([r])
        clock.advance(30_000)
        keeper?.tick(clock.nowMs(), () => clock.nowMs())
      }
    },
    pass: (minutes: number) => clock.advance(minutes * 60_000),
    idle: () => settled(() => keeper?.counters().find((c) => c.name === 'journalWaiting')?.value === 0, 'an empty queue'),
    standing: () => keeper?.standing().map((v) => v.def.id) ?? [],
  }
}

test('a restart in the middle of an hour of little oxygen does not begin the hour anew', async () => {
  const y = yard()
  await y.start()
  y.minutes(10, 5)
  y.minutes(40, 1)
  await y.stop()
  await y.start()
  y.minutes(21, 1)
  await y.idle()
  // The run began at minute 10.
  expect(y.told).toEqual(['raised @70'])
  await y.stop()
})

test('a raise that fell due while the gateway was down and its readings were stored is told once it is back', async () => {
  const y = yard()
  await y.start()
  y.minutes(50, 1)
  await y.stop()
  y.minutes(30, 1)
  await y.start()
  await y.idle()
  expect(y.told).toEqual(['raised @60'])
  expect(y.standing()).toHaveLength(1)
  await y.stop()
})

test('an episode that was told and is over is not told again by looking back over it', async () => {
  const y = yard([limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.2, onDelayMs: 600_000, offDelayMs: 0 })])
  await y.start()
  y.minutes(12, 1)
  y.minutes(2, 5)
  y.minutes(3, 1)
  await y.idle()
  expect(y.told).toEqual(['raised @10', 'cleared @12'])
  await y.stop()
  await y.start()
  await y.idle()
  y.minutes(6, 1)
  await y.idle()
  expect(y.told).toEqual(['raised @10', 'cleared @12'])
  y.minutes(2, 1)
  await y.idle()
  expect(y.told.slice(2)).toEqual(['closed @24', 'raised @24'])
  await y.stop()
})

test('an off-delay that was running goes on from where it began', async () => {
  const y = yard()
  await y.start()
  y.minutes(61, 1)
  y.minutes(8, 5)
  await y.stop()
  await y.start()
  y.minutes(3, 5)
  await y.idle()
  expect(y.told).toEqual(['raised @60', 'cleared @71'])
  await y.stop()
})

test('where no question is open nothing is read back', async () => {
  const y = yard()
  await y.start()
  y.minutes(5, 5)
  await y.stop()
  await y.start()
  expect(y.asked).toEqual([])
  y.minutes(1, 1)
  await y.stop()
  await y.start()
  expect(y.asked).toEqual([`${SITE}/tu.do`])
  await y.stop()
})

test('values of a loop that fell silent long before the restart raise nothing by being looked at again', async () => {
  const y = yard()
  y.minutes(90, 1)
  y.pass(120)
  await y.start()
  await y.idle()
  expect([y.told, y.asked]).toEqual([[], []])
  await y.stop()
})

test('what stood before the restart and still stands is not raised again', async () => {
  const y = yard()
  await y.start()
  y.minutes(61, 1)
  await y.idle()
  await y.stop()
  y.minutes(10, 1)
  await y.start()
  y.minutes(70, 1)
  await y.idle()
  expect(y.told.filter((t) => t.startsWith('raised'))).toEqual(['raised @60'])
  await y.stop()
})
