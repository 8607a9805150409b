/**
 * Real series that nobody here wrote, from the file through the import command, the trend of the API and the export command, held
 * against the file itself.
 *
 * sources  a small sequencing-batch membrane bioreactor, April 2010 (R package mowater, data/mines_fault.rda, MIT);
 *          Brandywine Creek 2012 and French Creek 2012 (streamMetabolizer, U.S. Geological Survey, public domain)
 */
import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { expect, onTestFinished, test } from 'vitest'
import { compose } from '../../gateway/compose.ts'
import { buildApp } from '../../server/app.ts'
import { createAccess, readTokens } from '../../server/people/access.ts'
import type { HistoryBody } from '../../server/wire.ts'
import { history, putSite } from './shell.ts'
import { handClock, tempFolder } from './store.ts'

const data = fileURLToPath(new URL('../../../shared/data/', import.meta.url))
const here = existsSync(data)
const TOKEN = 'a-token-for-tests-0123456789'

/** The source read plainly: time as written, and one column. None of these files has quotes. */
function column(file: string, time: string, name: string): [string, number][] {
  const [head, ...lines] = readFileSync(join(data, file), 'utf8').trimEnd().split(/\r?\n/)
  const names = (head ?? '').split(',')
  const [t, c] = [names.indexOf(time), names.indexOf(name)]
  return lines.flatMap((l) => {
    const cells = l.split(',')
    return (cells[c] ?? '') === '' ? [] : [[cells[t] ?? '', Number(cells[c])] as [string, number]]
  })
}

/** Figures of one signal as `npm run history export` writes them, by time. */
async function exported(dir: string, key: string): Promise<Map<number, number>> {
  const { out, code } = await history(['export', key, '--data', dir])
  expect(code).toBe(0)
  const lines = out.trimEnd().split('\r\n').slice(1)
  return new Map(lines.map((l) => l.split(',')).map((c) => [Date.parse(c[2] ?? ''), c[4] === '' ? Number.NaN : Number(c[4])]))
}

/** Asks the API of the product over the imported folder. */
async function openApi(dir: string, nowMs: number): Promise<(signal: string, fromMs: number, toMs: number, points: number) => Promise<HistoryBody>> {
  const clock = handClock(nowMs)
  const parts = await compose({ dataDir: dir, synchronous: 'normal', prefix: 'loopkeeper/v1' }, clock, join(dir, 'sites'))
  onTestFinished(() => parts.stop())
  const core = parts.start({ brokers: () => [], counters: () => [], troubles: () => [] })
  const access = await createAccess({ dataDir: dir, clock, tokens: readTokens(`tester ${TOKEN}`), log: () => undefined })
  const app = await buildApp({ gateway: core.port, clock, access, pageDir: null, version: '0', limits: { beatMs: 0 } })
  onTestFinished(() => app.stop({ withinMs: 500 }))
  return async (signal, fromMs, toMs, points) => {
    const url = `/api/history/quarry-road/${signal}?from=${fromMs}&to=${toMs}&points=${points}`
    const reply = await app.server.inject({ method: 'GET', url, headers: { authorization: `Bearer ${TOKEN}` } })
    expect(reply.statusCode, reply.body).toBe(200)
    return reply.json<HistoryBody>()
  }
}

test.skipIf(!here)(
  'a membrane bioreactor, April 2010: imported, trended through the API and exported, every figure is that of the file in the unit of the site, and what no probe can report is in no mean',
  async () => {
    const dir = tempFolder()
    putSite(dir, '10min')
    const file = 'sbmbr/mines_sbmbr_2010_10min_apr10_19.csv'
    const taken = [
      ['ras_ph', 'tu.ph', '[pH]', (x: number) => x],
      ['ras_do', 'tu.do', 'mg/L', (x: number) => x],
      ['bio_1_do', 'bio1.do', 'mg/L', (x: number) => x],
      ['bio_2_do', 'bio2.do', 'mg/L', (x: number) => x],
      ['perm_turb', 'finished.turbidity', '[NTU]', (x: number) => x],
      ['perm_cond', 'finished.conductivity', 'uS/cm', (x: number) => x],
      ['ras_temp', 'tu.temperature', '[degF]', (x: number) => ((x - 32) * 5) / 9],
    ] as const
    const takes = taken.flatMap(([name, signal, unit]) => ['--take', `${name} as ${signal} in ${unit}`])
    const ran = await history(['import', join(data, file), '--data', dir, '--site', 'quarry-road', ...takes])
    expect(ran.err).toBe('')
    expect(ran.code).toBe(0)
    expect(ran.out).toContain('1293 rows in wide form: 9051 readings stored, 0 repeated, 0 differing from what is held, 0 cells without a reading, 0 refused')

    for (const [name, signal, , turned] of taken) {
      const got = await exported(dir, `quarry-road/${signal}`)
      const source = column(file, 'datetime', name)
      expect(source.length).toBe(1293)
      expect(got.size).toBe(source.length)
      for (const [t, x] of source) expect(got.get(Date.parse(t)), `${signal} at ${t}`).toBeCloseTo(turned(x), 9)
    }

    // An oxygen probe cannot report less than nothing: such a figure is kept, as bad, and counts in no mean.
    const counts = (signal: string, x: number): boolean => !(signal.endsWith('.do') && x < 0)
    const ask = await openApi(dir, Date.UTC(2026, 0, 5, 6))
    const [fromMs, toMs] = [Date.parse('2010-04-10T06:00:00Z'), Date.parse('2010-04-19T06:00:00Z')]
    for (const [name, signal, , turned] of taken) {
      const source = column(file, 'datetime', name).map(([t, x]) => [Date.parse(t), turned(x)] as const)
      // One span a reading: the trend is the file.
      const fine = await ask(signal, fromMs, toMs, 1296)
      expect(fine.bucketMs).toBe(600_000)
      expect(fine.extent).toEqual({ firstMs: source[0]?.[0], lastMs: source.at(-1)?.[0] })
      const byTime = new Map(source)
      fine.at.forEach((at, i) => {
        const x = byTime.get(at)
        if (x === undefined) expect([fine.count[i], fine.mean[i]]).toEqual([0, null])
        else if (!counts(signal, x)) expect([fine.count[i], fine.bad[i]]).toEqual([0, 1])
        else expect(fine.mean[i], `${signal} at ${at}`).toBeCloseTo(x, 9)
      })
      // A day a span: means, lowest and highest of the file.
      const days = await ask(signal, fromMs, toMs, 9)
      days.at.forEach((at, i) => {
        const xs = source.flatMap(([t, x]) => (t >= at && t < at + days.bucketMs && counts(signal, x) ? [x] : []))
        expect(days.count[i]).toBe(xs.length)
        expect(days.mean[i]).toBeCloseTo(xs.reduce((s, x) => s + x, 0) / xs.length, 9)
        expect(days.min[i]).toBeCloseTo(Math.min(...xs), 9)
        expect(days.max[i]).toBeCloseTo(Math.max(...xs), 9)
      })
    }
  },
)

test.skipIf(!here)('oxygen of two creeks, 2012: clock times take the zone they are said to be in, empty cells stay gaps, a second import stores nothing', async () => {
  const dir = tempFolder()
  putSite(dir, '5min')
  const creek = join(data, 'stream-do/french_creek_2012_town.csv')
  const args = [
    'import',
    creek,
    '--data',
    dir,
    '--site',
    'quarry-road',
    '--time-column',
    'local_clock',
    '--take',
    'do_mgl as tu.do in mg/L',
    '--take',
    'temp_c as tu.temperature in Cel',
  ]
  const asked = await history(args)
  expect(asked.code).toBe(2)
  expect(asked.err).toContain('"2012-09-01T12:55:00" has no zone: say what the times mean with --zone')
  const first = await history([...args, '--zone', '-06:00'])
  expect(first.code).toBe(0)
  const source = column('stream-do/french_creek_2012_town.csv', 'local_clock', 'do_mgl')
  const rows = column('stream-do/french_creek_2012_town.csv', 'local_clock', 'temp_c').length
  const got = await exported(dir, 'quarry-road/tu.do')
  // Where one clock time stands twice in the file the first figure counts.
  const expected = new Map<number, number>()
  for (const [t, x] of source) if (!expected.has(Date.parse(`${t}-06:00`))) expected.set(Date.parse(`${t}-06:00`), x)
  expect([...got].sort((a, b) => a[0] - b[0])).toEqual([...expected].sort((a, b) => a[0] - b[0]))
  const second = await history([...args, '--zone', '-06:00'])
  const [, stored, repeated, differing] = /: (\d+) readings stored, (\d+) repeated, (\d+) differing/.exec(second.out) ?? []
  expect([stored, Number(repeated) + Number(differing)]).toEqual(['0', source.length + rows])

  const brandywine = tempFolder()
  putSite(brandywine, '30min')
  const b = join(data, 'stream-do/brandywine_2012.csv')
  const ran = await history(
    [
      'import',
      b,
      '--data',
      brandywine,
      '--site',
      'quarry-road',
      '--time-column',
      'solar_time',
      '--zone',
      'UTC',
      '--take',
      'do_obs_mgl as tu.do in mg/L',
      '--take',
      'temp_c as tu.temperature in Cel',
    ],
    {},
  )
  expect(ran.code).toBe(0)
  const back = await exported(brandywine, 'quarry-road/tu.do')
  const oxygen = column('stream-do/brandywine_2012.csv', 'solar_time', 'do_obs_mgl')
  expect([...back.values()]).toEqual(oxygen.map(([, x]) => x))
  const ask = await openApi(brandywine, Date.UTC(2026, 0, 5, 6))
  const month = await ask('tu.do', Date.UTC(2012, 4, 1), Date.UTC(2012, 5, 1), 1)
  const may = oxygen.flatMap(([t, x]) => (t.startsWith('2012-05') ? [x] : []))
  expect([month.count[0], month.min[0], month.max[0]]).toEqual([may.length, Math.min(...may), Math.max(...may)])
})
