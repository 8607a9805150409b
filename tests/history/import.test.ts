import { existsSync, readdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import fc from 'fast-check'
import { expect, onTestFinished, test } from 'vitest'
import { compose } from '../../gateway/compose.ts'
import { barOf, progressOn } from '../../gateway/history/csv/progress.ts'
import { csvRows, separatorOf } from '../../gateway/history/csv/rows.ts'
import { runImport, type ImportRun } from '../../gateway/history/csv/run-import.ts'
import { timeOfCell, zoneOption } from '../../gateway/history/csv/times.ts'
import type { HistoryReading } from '../../gateway/history/history.ts'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { readSiteFolder } from '../../gateway/site-folder.ts'
import { history, putSite } from './shell.ts'
import { handClock, tempFolder } from './store.ts'

const NOW = Date.UTC(2026, 0, 5, 6)

/** A data folder with the site, and a CSV file beside it. */
function folderWith(csv: string, every = '1min'): { dir: string; file: string } {
  const dir = tempFolder()
  putSite(dir, every)
  const file = join(dir, 'in.csv')
  writeFileSync(file, csv)
  return { dir, file }
}

async function held(dir: string, key: string): Promise<readonly HistoryReading[]> {
  const store = openEmbedded({ dir, clock: handClock(NOW) })
  try {
    return await store.range(key, 0, NOW * 2, 1_000_000)
  } finally {
    await store.close()
  }
}

const figures = async (dir: string, signal: string): Promise<(readonly [string, number | null])[]> =>
  (await held(dir, `quarry-road/${signal}`)).map((r) => [new Date(r.sourceMs).toISOString(), r.value] as const)

test('whatever a cell holds, and wherever the file is cut into pieces, its rows come back', async () => {
  const text = fc.string({ unit: fc.constantFrom('a', ',', ';', '"', '\n', '\r', ' ', 'é', '7') }).map((s) => s.replace(/\r(?!\n)/g, ''))
  await fc.assert(
    fc.asyncProperty(fc.array(fc.array(text, { minLength: 2, maxLength: 4 }), { minLength: 1, maxLength: 8 }), fc.integer({ min: 1, max: 9 }), async (rows, size) => {
      const file = `\u{feff}${rows.map((r) => r.map((c) => `"${c.replaceAll('"', '""')}"`).join(',')).join('\r\n')}\r\n`
      async function* pieces(): AsyncGenerator<string> {
        for (let i = 0; i < file.length; i += size) yield file.slice(i, i + size)
      }
      const out: (readonly string[])[] = []
      for await (const some of csvRows(pieces(), ',')) for (const r of some) out.push(r.cells)
      expect(out).toEqual(rows)
    }),
    { numRuns: 300 },
  )
})

test('a line number is that of the file, over quoted line feeds and empty lines', async () => {
  async function* pieces(): AsyncGenerator<string> {
    yield 'time,"a\nb"\n\n1,"x\ny\nz"\n2,y'
  }
  const lines: number[] = []
  for await (const some of csvRows(pieces(), ',')) lines.push(...some.map((r) => r.line))
  expect(lines).toEqual([1, 4, 7])
  expect(['time;a,b;c', 'a\tb', '"x;y;z",b'].map(separatorOf)).toEqual([';', '\t', ','])
})

test.each([
  ['2026-03-01T10:00:00Z', {}, Date.UTC(2026, 2, 1, 10)],
  ['2026-03-01 10:00+01:00', {}, Date.UTC(2026, 2, 1, 9)],
  ['2026-03-01 10:00:00.25', { naive: 60 }, Date.UTC(2026, 2, 1, 9, 0, 0, 250)],
  ['2026/3/1', { naive: 0 }, Date.UTC(2026, 2, 1)],
  ['03.04.2026 10:05', { naive: 0, dates: 'dmy' }, Date.UTC(2026, 3, 3, 10, 5)],
  ['3/4/2026 12:05:06 AM', { naive: 0, dates: 'mdy' }, Date.UTC(2026, 2, 4, 0, 5, 6)],
  ['3/4/2026 12:05 PM', { naive: 0, dates: 'mdy' }, Date.UTC(2026, 2, 4, 12, 5)],
  ['1414453080', { numbers: 's' }, 1_414_453_080_000],
  ['1414453080250.7', { numbers: 'ms' }, 1_414_453_080_250],
] as const)('the time %s is read as it is meant', (text, more, ms) => {
  expect(timeOfCell(text, { dates: null, numbers: null, naive: 'refused', ...more })).toBe(ms)
})

test('a time that can mean two things is asked about, one that means nothing is refused', () => {
  const form = { dates: null, numbers: null, naive: 'refused' } as const
  expect(timeOfCell('2026-03-01 10:00', form)).toMatchObject({ ask: true, fault: expect.stringContaining('--zone Europe/Lisbon') as string })
  expect(timeOfCell('03/04/2026 10:00', form)).toMatchObject({ ask: true, fault: expect.stringContaining('--dates dmy') as string })
  expect(timeOfCell('1414453080', form)).toMatchObject({ ask: true, fault: expect.stringContaining('--times-in s') as string })
  for (const none of ['', 'noon', '2026-02-30T10:00:00Z', '2026-03-01T25:00:00Z', '3/4/2026 13:00 PM'])
    expect(timeOfCell(none, { ...form, dates: 'mdy', naive: 0 })).toMatchObject({ ask: false })
  expect(['UTC', '+01:00', '-03:30', 'Europe/Lisbon', 'Lisbon', '+1'].map((z) => zoneOption(z)?.naive ?? null)).toEqual([0, 60, -210, 'wall', null, null])
})

test('what the file does not say is asked for, all at once, and nothing is written', async () => {
  const { dir, file } = folderWith('when,PH,DO,other\n2026-01-01 10:00,7,8,9\n')
  expect((await history(['import', file, '--data', dir])).err).toBe('Which column holds the times? Say it with --time-column. The header has: when | PH | DO | other\n')
  const site = ['import', file, '--data', dir, '--time-column', 'when']
  expect((await history(site)).err).toContain('Say --site SITE as well. Site files were found of: quarry-road')
  expect((await history([...site, '--site', 'quarry-road'])).err).toMatch(
    /--take "PH as SIGNAL in UNIT"; once for each column\. Signals of quarry-road, with their units: tu\.ph \(\[pH\]\)/,
  )
  const wrong = await history([...site, '--site', 'quarry-road', '--take', 'PH as tu.phh in [pH]', '--take', 'DO as tu.do in [ppm]', '--take', 'X as tu.do in mg/L'])
  expect(wrong.code).toBe(2)
  expect(wrong.err).toContain('Site quarry-road has no signal tu.phh')
  expect(wrong.err).toContain('"DO" is said to be in [ppm], which cannot be turned into mg/L')
  expect(wrong.err).toContain('"X" is to be taken as tu.do, but the header has no such column')
  expect((await history([...site, '--take', 'DO:tu.do'])).err).toContain('"NAME as SIGNAL in UNIT" is needed')
  expect((await history([...site, '--site', 'quarry-road', '--take', 'DO as tu.do in mg/L'])).err).toContain('has no zone')
  expect((await history([...site, '--zone', 'Lisbon'])).err).toContain('--zone is "Lisbon"')
  expect((await history([...site, '--unit', 'x'])).err).toContain("Unknown option '--unit'")
  expect((await history(['import', join(dir, 'none.csv'), '--data', dir])).err).toContain('cannot be read')
  const bare = folderWith('time,tu.ph\n2026-01-01T10:00:00Z,7\n')
  expect((await history(['import', bare.file, '--data', bare.dir, '--site', 'quarry-road'])).err).toContain('--take "tu.ph as tu.ph in [pH]", or --units site')
  expect(existsSync(join(dir, 'history.db'))).toBe(false)
})

test('a dry run says what would happen and writes nothing; the import then does it; a second one finds only repeats', async () => {
  const { dir, file } = folderWith(
    'time,pH,note\n2026-01-01T10:00:00Z,7.1,a\n2026-01-01T10:01:00Z,7.2,\n2026-01-01T10:01:00Z,7.3,\n2026-01-01T10:02:00Z,,\n2026-01-01T10:03:00Z,abc,\nlater,7,\n2026-01-05T06:03:00Z,7,\n',
  )
  const args = ['import', file, '--data', dir, '--site', 'quarry-road', '--take', 'pH as tu.ph in [pH]']
  const dry = await history([...args, '--dry-run'])
  expect(existsSync(join(dir, 'history.db'))).toBe(false)
  const said = '1 cells without a reading, 3 refused'
  expect(dry.out).toContain(`7 rows in wide form: 2 readings would be stored (dry run: nothing was written), 0 repeated, 1 differing from what is held, ${said}`)
  expect(dry.out).toContain('line 6: pH: "abc" is no figure: say --missing "abc" when it stands for no reading')
  expect(dry.out).toContain('line 7: "later" is no time')
  expect(dry.out).toContain('line 8: pH: 2026-01-05T06:03:00.000Z lies in the future')
  expect(dry.out).toContain('columns not taken: note')
  expect(dry.code).toBe(1)
  const ran = await history(args)
  expect(ran.out).toContain(`2 readings stored, 0 repeated, 1 differing from what is held, ${said}`)
  expect(await figures(dir, 'tu.ph')).toEqual([
    ['2026-01-01T10:00:00.000Z', 7.1],
    ['2026-01-01T10:01:00.000Z', 7.2],
  ])
  expect((await history([...args, '--dry-run'])).out).toContain('0 readings would be stored (dry run: nothing was written), 2 repeated, 1 differing')
  expect((await history([...args, '--missing', 'abc'])).out).toContain('0 readings stored, 2 repeated, 1 differing from what is held, 2 cells without a reading, 2 refused')
})

test('long form: units by column, qualities and received times as the file says, names that are not taken counted', async () => {
  const csv =
    'site,signal,time,received_time,value,unit,quality\nquarry-road,tu.temperature,2026-01-01T10:00:00Z,2026-01-01T10:00:05Z,50,[degF],good\n' +
    'quarry-road,tu.temperature,2026-01-01T10:01:00Z,,,,bad\nquarry-road,tu.do,2026-01-01T10:00:00Z,,6.5,mg/L,uncertain\nquarry-road,tu.salt,2026-01-01T10:00:00Z,,1,g/L,\n'
  const { dir, file } = folderWith(csv)
  const ran = await history(['import', file, '--data', dir, '--units', 'site'])
  expect(ran.out).toContain('names not taken: quarry-road/tu.salt (1 readings)')
  expect(await held(dir, 'quarry-road/tu.temperature')).toMatchObject([
    { value: 10, quality: 'good', receivedMs: Date.UTC(2026, 0, 1, 10, 0, 5) },
    { value: null, quality: 'bad', receivedMs: Date.UTC(2026, 0, 1, 10, 1) },
  ])
  expect(await held(dir, 'quarry-road/tu.do')).toMatchObject([{ value: 6.5, quality: 'uncertain', sub: 'not_accurate' }])
})

test('other names, a decimal comma and semicolons: a file of another house', async () => {
  const { dir, file } = folderWith('Logger 4\nZeitpunkt;Kanal;Wert\n01.02.2025 10:00;T1;12,5\n01.02.2025 10:00;P9;1\n01.02.2025 10:01;T1;1.250,5\n')
  const ran = await history(
    ['import', file, '--data', dir, '--form', 'long', '--header-line', '2', '--time-column', 'Zeitpunkt', '--signal-column', 'Kanal', '--value-column', 'Wert'].concat([
      '--decimal',
      'comma',
      '--dates',
      'dmy',
      '--zone',
      '+01:00',
      '--site',
      'quarry-road',
      '--take',
      'T1 as tu.temperature in Cel',
    ]),
  )
  expect(ran.out).toContain('line 5: T1: "1.250,5" is no figure')
  expect(await figures(dir, 'tu.temperature')).toEqual([['2025-02-01T09:00:00.000Z', 12.5]])
})

test('what no sensor can report is stored as bad, as it would have been live', async () => {
  const { dir, file } = folderWith('time,tu.ph\n2026-01-01T10:00:00Z,7\n2026-01-01T10:01:00Z,19\n2026-01-01T10:02:00Z,7\n')
  expect((await history(['import', file, '--data', dir, '--site', 'quarry-road', '--units', 'site'])).code).toBe(0)
  expect((await held(dir, 'quarry-road/tu.ph')).map((r) => [r.value, r.quality, r.qc])).toEqual([
    [7, 'good', expect.any(Number)],
    [19, 'bad', 4],
    [7, 'good', expect.any(Number)],
  ])
})

test('the hour a wall clock shows twice comes apart by its order, however the file is cut into batches', async () => {
  // Lisbon, 26 October 2025: 01:00 to 02:00 comes twice. A reading every 10 min from 22:00 UTC the day before.
  const start = Date.UTC(2025, 9, 25, 22)
  const times = Array.from({ length: 30 }, (_, i) => start + i * 600_000)
  const wall = (ms: number): string => new Date(ms + (ms < Date.UTC(2025, 9, 26, 1) ? 3_600_000 : 0)).toISOString().slice(0, 16).replace('T', ' ')
  for (const batch of [1, 4, 7, 1000]) {
    const { dir, file } = folderWith(`time,tu.ph,tu.do\n${times.map((t, i) => `${wall(t)},${i / 10},${i}`).join('\n')}\n`, '10min')
    const run = { ...runOf(dir, file), batch }
    const end = await runImport(run)
    expect(end.tally).toMatchObject({ doubled: 12, refused: 0 })
    expect((await held(dir, 'quarry-road/tu.do')).map((r) => [r.sourceMs, r.value])).toEqual(times.map((t, i) => [t, i]))
  }
})

function runOf(dir: string, file: string): ImportRun {
  const times = { dates: null, numbers: null, naive: 'wall' } as const
  const columns = { time: null, site: null, signal: null, value: null, quality: null }
  return {
    file,
    dataDir: dir,
    sites: readSiteFolder(join(dir, 'sites')).sites,
    asked: { site: 'quarry-road', form: null, takes: [], siteUnits: true, columns, times, zone: 'Europe/Lisbon', decimalComma: false, missing: [] },
    separator: null,
    headerLine: 1,
    dry: false,
    fromStart: false,
    clock: handClock(NOW),
    progress: { show: () => undefined, end: () => undefined },
    interrupted: () => false,
  }
}

test('stopped and begun again it goes on where it was, and both histories and both reports are the same as without the stop', async () => {
  const rows = Array.from(
    { length: 900 },
    (_, i) => `2025-11-02 ${String(Math.floor(i / 60)).padStart(2, '0')}:${String(i % 60).padStart(2, '0')},${7 + Math.sin(i / 9) / 2},${i % 97 === 0 ? 'x' : 6 + (i % 40) / 40}`,
  )
  const csv = `time,tu.ph,tu.do\n${rows.join('\n')}\n`
  const [whole, parts] = [folderWith(csv), folderWith(csv)]
  const straight = await runImport({ ...runOf(whole.dir, whole.file), batch: 100 })
  let looks = 0
  const stopped = await runImport({ ...runOf(parts.dir, parts.file), batch: 100, interrupted: () => ++looks === 5 })
  expect([stopped.stopped, stopped.tally.rows < 900, readdirSync(join(parts.dir, 'imports')).length]).toEqual([true, true, 1])
  const resumed = await runImport({ ...runOf(parts.dir, parts.file), batch: 100 })
  expect([resumed.resumedAfter, resumed.stopped]).toEqual([stopped.tally.rows, false])
  expect(resumed.tally).toEqual(straight.tally)
  expect(resumed.tally.series.get('quarry-road/tu.ph')?.stored).toBe(900)
  for (const key of ['quarry-road/tu.ph', 'quarry-road/tu.do']) expect(await held(parts.dir, key)).toEqual(await held(whole.dir, key))
  expect(readdirSync(join(parts.dir, 'imports'))).toEqual([])
})

test('killed between a write and its mark, nothing is stored twice', async () => {
  const csv = `time,tu.ph\n${Array.from({ length: 300 }, (_, i) => `2025-11-02 0${Math.floor(i / 60)}:${String(i % 60).padStart(2, '0')},${7 + i / 1000}`).join('\n')}\n`
  const { dir, file } = folderWith(csv)
  let batches = 0
  const dying = { show: () => void (++batches === 2 && die()), end: () => undefined }
  const die = (): never => {
    throw new Error('the process ends here')
  }
  await expect(runImport({ ...runOf(dir, file), batch: 100, progress: dying })).rejects.toThrow('the process ends here')
  // As if the mark of the second batch had not reached the disk.
  const marks = join(dir, 'imports')
  const mark = join(marks, readdirSync(marks)[0] ?? '')
  writeFileSync(mark, JSON.stringify({ rows: 100, counts: { 'quarry-road/tu.ph': { stored: 100, duplicate: 0, differing: 0 } } }))
  const end = await runImport({ ...runOf(dir, file), batch: 100 })
  expect(end.tally.series.get('quarry-road/tu.ph')).toMatchObject({ stored: 200, duplicate: 100 })
  expect(await held(dir, 'quarry-road/tu.ph')).toHaveLength(300)
})

test('an import of readings beyond every limit, up to a minute ago, raises no alarm, and a silent site stays silent', async () => {
  const clock = handClock(NOW)
  const minute = (k: number): string => new Date(NOW - k * 60_000).toISOString()
  const { dir, file } = folderWith(`time,sump.level,tu.do,tu.ph\n${Array.from({ length: 180 }, (_, i) => `${minute(180 - i)},99,0.1,4.5`).join('\n')}\n`)
  const ran = await history(['import', file, '--data', dir, '--site', 'quarry-road', '--units', 'site'], { clock })
  expect(ran.out).toContain('540 readings stored')
  const parts = await compose({ dataDir: dir, synchronous: 'normal', prefix: 'loopkeeper/v1' }, clock, join(dir, 'sites'))
  onTestFinished(() => parts.stop())
  const core = parts.start({ brokers: () => [], counters: () => [], troubles: () => [] })
  const raised: string[] = []
  core.port.subscribe((e) => {
    if (e.kind === 'alarm') raised.push(e.view.def.id)
  })
  for (let i = 0; i < 120; i++) {
    clock.advance(1000)
    core.tick()
  }
  await new Promise((r) => setImmediate(r))
  // The site says nothing: that may be told. What the imported figures are may not.
  expect(raised.filter((id) => /level|\.do|\.ph/.test(id))).toEqual([])
  expect(core.port.standing('quarry-road').filter((a) => /level|\.do|\.ph/.test(a.def.id))).toEqual([])
  const site = core.port.site('quarry-road')
  expect(site?.heardMs).toBe(NOW - 60_000)
  expect([...(site?.latest.values() ?? [])].some((r) => r.live)).toBe(false)
})

test('a bar shows on a terminal how far it is, and nothing anywhere else', () => {
  expect([barOf(0, 9), barOf(3, 9), barOf(9, 9)]).toEqual([`[${'.'.repeat(30)}]   0 %`, `[${'#'.repeat(10)}${'.'.repeat(20)}]  33 %`, `[${'#'.repeat(30)}] 100 %`])
  const shown: string[] = []
  let ms = 0
  const bar = progressOn({ isTTY: true, write: (t: string) => shown.push(t) }, () => ms)
  bar.show(1, 4, '10 rows')
  ms = 50
  bar.show(2, 4, '20 rows')
  ms = 120
  bar.show(4, 4, '40 rows')
  bar.end()
  expect(shown).toEqual([`\r${barOf(1, 4)} 10 rows\u001b[K`, `\r${barOf(4, 4)} 40 rows\u001b[K`, '\n'])
  const silent: string[] = []
  progressOn({ isTTY: false, write: (t: string) => silent.push(t) }, () => 0).show(1, 2, '')
  expect(silent).toEqual([])
})
