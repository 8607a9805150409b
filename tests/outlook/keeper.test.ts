import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, onTestFinished, test } from 'vitest'
import type { Bucket, HistoryReader, HistoryReading } from '../../gateway/history/history.ts'
import { openNormalFiles } from '../../gateway/normal-files.ts'
import { startOutlook } from '../../gateway/outlook-keeper.ts'
import type { SiteState } from '../../gateway/port.ts'
import { handClock } from '../server/fake-gateway.ts'
import { ALL, alarmsOf, bucket, DAY, DRUMS, entry, HOUR, NOW, site } from './store.ts'

function open(more: { alarmed?: boolean; fail?: () => boolean } = {}) {
  const dir = mkdtempSync(join(tmpdir(), 'outlook-'))
  onTestFinished(() => rmSync(dir, { recursive: true, force: true }))
  const clock = handClock(NOW)
  const loop = site(ALL, DRUMS)
  const asked: string[] = []
  let running = 0
  let most = 0
  const level = { saturation: 90 }
  const history: HistoryReader = {
    latest: async () => new Map(),
    extent: async () => null,
    async range(key, fromMs, toMs): Promise<HistoryReading[]> {
      asked.push(key)
      const out: HistoryReading[] = []
      for (let ms = Math.ceil(fromMs / 600_000) * 600_000; ms < toMs; ms += 600_000)
        out.push({ sourceMs: ms, receivedMs: ms, value: key.endsWith('.run') ? Number(ms % DAY < HOUR) : 50, quality: 'good', sub: 'ok', qc: 1 })
      return out
    },
    async buckets(keys, fromMs, toMs, points) {
      if (more.fail?.()) throw new Error('the disk is away')
      running++
      most = Math.max(most, running)
      asked.push(...keys)
      await new Promise((r) => setImmediate(r))
      running--
      return keys.map((key) => ({
        key,
        bucketMs: HOUR,
        buckets: Array.from({ length: points }, (_, k): Bucket => bucket(fromMs + k * HOUR, key.endsWith('volume') ? k * 300 : level.saturation + (k % 3))),
      }))
    },
  }
  const alarms = alarmsOf(loop).map((a) => (more.alarmed && a.def.rule.kind === 'no-air' ? { ...a, state: 'acknowledged' as const, raisedMs: NOW - DAY } : a))
  const states: SiteState[] = [loop, { ...loop, id: 'other' }].map((s) => ({ site: s, heardMs: NOW, silent: false, latest: new Map() }))
  const keeper = startOutlook({
    states: async () => [],
    clock,
    history,
    log: { add: async () => entry('note', 0, {}), list: async () => [entry('refill', 14, { item: 'acid', value: 60, unit: 'L' })] },
    files: openNormalFiles(join(dir, 'normal')),
    sites: () => states,
    site: (id) => states.find((s) => s.site.id === id) ?? null,
    gateway: { alarmsOf: () => alarms, vitals: () => [], journal: async () => [] },
  })
  return { keeper, clock, asked, level, most: () => most, file: join(dir, 'normal', 'loop.json') }
}

test('an outlook is worked out once for all who ask within five minutes, and one loop after the other', async () => {
  const { keeper, clock, asked, most } = open()
  const [a, b, other] = await Promise.all([keeper.forecasts('loop'), keeper.forecasts('loop'), keeper.forecasts('other')])
  expect(a).toBe(b)
  expect(other?.expected.length).toBe(a?.expected.length)
  expect(a?.expected.find((e) => e.id === 'acid')?.outlook.kind).toBe('forecast')
  expect(most()).toBe(1)
  const before = asked.length
  clock.advance(4 * 60_000)
  await keeper.forecasts('loop')
  expect(asked.length).toBe(before)
  clock.advance(2 * 60_000)
  await keeper.forecasts('loop')
  expect(asked.length).toBeGreaterThan(before)
  expect(await keeper.forecasts('nowhere')).toBeNull()
  expect(keeper.counters().find((c) => c.name === 'outlooksMade')?.value).toBe(3)
})

test('a failure is told to whoever asked, counted, and not kept', async () => {
  let fails = true
  const { keeper } = open({ fail: () => fails })
  await expect(keeper.normals('loop')).rejects.toThrow('the disk is away')
  fails = false
  expect((await keeper.normals('loop'))?.normals.length).toBeGreaterThan(0)
  expect(keeper.counters().find((c) => c.name === 'outlooksFailed')?.value).toBe(1)
})

test('the first normal is frozen on disk and a later, lower course does not overwrite it', async () => {
  const { keeper, clock, level, file } = open()
  const first = (await keeper.normals('loop'))?.normals.find((n) => n.id === 'tu.do')?.first
  expect(first?.value).toBe(91)
  level.saturation = 40
  clock.advance(DAY)
  const later = (await keeper.normals('loop'))?.normals.find((n) => n.id === 'tu.do')
  expect(later?.first).toEqual(first)
  expect('because' in (later?.band ?? {})).toBe(false)
  expect(JSON.parse(readFileSync(file, 'utf8'))['tu.do']).toEqual([first])
  // A file that was cut short is made anew rather than believed.
  writeFileSync(file, '{"tu.do":[{"value":')
  clock.advance(DAY)
  expect((await keeper.normals('loop'))?.normals.find((n) => n.id === 'tu.do')?.first?.value).toBe(41)
})

test('while an alarm stands nothing is learned, and the answer says so', async () => {
  const { keeper } = open({ alarmed: true })
  expect((await keeper.normals('loop'))?.paused).toBe('an alarm stands')
})

test('loops nobody looks at get their first normal by a slow walk round all of them', async () => {
  const { keeper, clock, file } = open()
  keeper.tick()
  await keeper.stop()
  expect(() => readFileSync(file)).toThrow()
  const again = open()
  again.clock.advance(61_000)
  again.keeper.tick()
  await again.keeper.stop()
  expect(readFileSync(again.file, 'utf8')).toContain('tu.do')
  expect(clock.steadyMs()).toBe(0)
})
