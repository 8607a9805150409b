import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { compose } from '../../gateway/compose.ts'
import { history, putSite } from '../history/shell.ts'
import { handClock, tempFolder } from '../history/store.ts'

const NOW = Date.UTC(2026, 0, 5, 6)
const HOUR = 3_600_000
const KEY = 'quarry-road/sump.volume'

/** Runs the gateway until nothing of the past is left to go through; gives the times of the computed litres in the sump. */
async function runOn(dir: string): Promise<readonly number[]> {
  const clock = handClock(NOW)
  const parts = await compose({ dataDir: dir, synchronous: 'normal', prefix: 'loopkeeper/v1' }, clock, join(dir, 'sites'))
  try {
    const core = parts.start({ brokers: () => [], counters: () => [], troubles: () => [] })
    const waiting = (): number | undefined => core.port.health().counters.find((c) => c.name === 'vitalsPastWaiting')?.value
    for (let n = 0; n < 2000 && waiting() !== 0; n++) {
      clock.advance(1000)
      core.tick()
      for (let i = 0; i < 30; i++) await new Promise((done) => setImmediate(done))
    }
    expect(waiting()).toBe(0)
    expect(core.port.health().troubles).toEqual([])
    return (await parts.history.range(KEY, 0, NOW * 2, 100_000)).map((r) => r.sourceMs)
  } finally {
    await parts.stop()
  }
}

async function importHours(dir: string, fromH: number, toH: number): Promise<void> {
  const rows = Array.from({ length: (fromH - toH) * 60 }, (_, i) => `${new Date(NOW - fromH * HOUR + i * 60_000).toISOString()},${40 + (i % 50) / 2}`)
  const file = join(dir, `from-${fromH}.csv`)
  writeFileSync(file, `time,sump.level\n${rows.join('\n')}\n`)
  const ran = await history(['import', file, '--data', dir, '--site', 'quarry-road', '--units', 'site'], { clock: handClock(NOW) })
  expect(ran.out).toContain(`${rows.length} readings stored`)
}

test('what an import has brought gets its vitals after the next start, also when a second one lays more before it', async () => {
  const dir = tempFolder()
  putSite(dir, '1min')
  expect(await runOn(dir)).toEqual([])
  await importHours(dir, 30, 10)
  const first = await runOn(dir)
  expect(first[0]).toBeLessThan(NOW - 30 * HOUR + 5 * 60_000)
  expect(first.at(-1)).toBeGreaterThan(NOW - 10 * HOUR - 20 * 60_000)
  expect(await runOn(dir)).toEqual(first)
  await importHours(dir, 80, 40)
  const second = await runOn(dir)
  expect(second[0]).toBeLessThan(NOW - 80 * HOUR + 5 * 60_000)
  expect(second.filter((ms) => ms >= first[0]!)).toEqual(first)
  // Nothing was heard between the two, so nothing is told.
  expect(second.filter((ms) => ms > NOW - 39 * HOUR && ms < NOW - 30 * HOUR)).toEqual([])
})
