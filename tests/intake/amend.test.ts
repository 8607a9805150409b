import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { count, handClock, intakeWith, message, NOW, yard } from './parts.ts'

const MIN = 60_000
let dir: string
beforeEach(() => void (dir = mkdtempSync(join(tmpdir(), 'amend-'))))
afterEach(() => rmSync(dir, { recursive: true, force: true }))

const VALUES = [7, 7.02, 12.5, 7.01, 7.03, 7.02]

/** One reading a minute, the third a spike; the clock of the yard stands at the last. */
function sendSpike(history: ReturnType<typeof openEmbedded>) {
  const sites = new Map([['ostrand', yard('ostrand')]])
  const { intake } = intakeWith({ sites: () => sites, history })
  VALUES.forEach((v, i) => intake.take(message('ostrand/tu.do', `{"v":${v},"t":${NOW + i * MIN}}`, { receivedMs: NOW + i * MIN })))
  return intake
}

test('QAR-24 the flag of a spike is corrected in the history when the next reading shows it, and its value stays', async () => {
  const history = openEmbedded({ dir, clock: handClock() })
  const intake = sendSpike(history)
  const stored = await history.range('ostrand/tu.do', NOW, NOW + 10 * MIN, 100)
  expect(stored.map((r) => r.value)).toEqual(VALUES)
  expect(stored.map((r) => [r.quality, r.sub])[2]).toEqual(['uncertain', 'qc_suspect'])
  expect([3, 4]).toContain(stored[2]?.qc)
  for (const i of [0, 1, 4]) expect(stored[i]).toMatchObject({ quality: 'good', sub: 'ok' })
  expect([count(intake, 'readingsQcSpikes'), count(intake, 'readingsAmended')]).toEqual([1, 1])
  // The trend says so as well, and counts the reading as before.
  const [series] = await history.buckets(['ostrand/tu.do'], NOW + 2 * MIN, NOW + 3 * MIN, 1)
  expect(series?.buckets[0]).toMatchObject({ count: 1, bad: 0, max: 12.5, worst: 'uncertain' })
  await history.close()
})

test('the correction is there after a restart and after sealing, and goes with what it is about', async () => {
  const first = openEmbedded({ dir, clock: handClock() })
  sendSpike(first)
  await first.sealAll()
  await first.close()
  const second = openEmbedded({ dir, clock: handClock() })
  const flags = async () => (await second.range('ostrand/tu.do', NOW, NOW + 10 * MIN, 100)).map((r) => r.quality)
  expect((await flags())[2]).toBe('uncertain')
  // Of a reading that is not held nothing can be said.
  expect(second.amend([{ key: 'ostrand/tu.do', sourceMs: NOW + 1, quality: 'uncertain', sub: 'qc_suspect', qc: 3 }])).toBe(0)
  // What is said never gets better.
  second.amend([{ key: 'ostrand/tu.do', sourceMs: NOW + 2 * MIN, quality: 'good', sub: 'ok', qc: 1 }])
  expect((await flags())[2]).toBe('uncertain')
  await second.forgetSite('ostrand')
  expect(await flags()).toEqual([])
  await second.close()
})

test('a correction that cannot be written down does not keep the message from being taken', () => {
  const sites = new Map([['ostrand', yard('ostrand')]])
  const bench = intakeWith({ sites: () => sites })
  const history = {
    commit: bench.history.commit.bind(bench.history),
    amend: () => {
      throw new Error('disk full')
    },
  }
  const { intake } = intakeWith({ sites: () => sites, history })
  VALUES.forEach((v, i) => intake.take(message('ostrand/tu.do', `{"v":${v},"t":${NOW + i * MIN}}`, { receivedMs: NOW + i * MIN })))
  expect(bench.history.stored.length).toBe(VALUES.length)
  expect(count(intake, 'readingsAmended')).toBe(0)
  expect(intake.troubles().join()).toContain('disk full')
})
