import { spawnSync } from 'node:child_process'
import { existsSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { expect, test } from 'vitest'
import { longCsv } from '../../gateway/history/csv/long.ts'
import { reading } from '../history.contract.ts'
import { openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)
const root = fileURLToPath(new URL('../..', import.meta.url))
const run = (...args: string[]): { status: number | null; out: string; err: string } => {
  const r = spawnSync(process.execPath, ['--import', 'tsx', 'gateway/history-command.ts', ...args], { cwd: root, encoding: 'utf8' })
  return { status: r.status, out: r.stdout, err: r.stderr }
}

test('a backup taken while the gateway runs is put back elsewhere, passes the check, and exports what was committed before it', async () => {
  const [dir, other] = [tempFolder(), tempFolder()]
  const store = openStore(dir)
  const readings = Array.from({ length: 20 }, (_, i) => reading('say "stop", now/tu.do', T0 + i * 1_000, i === 3 ? null : i / 8))
  store.commit(readings)
  await store.sealAll()
  store.commit([reading('depot/tu.ph', T0, 7.25, { quality: 'uncertain', sub: 'not_accurate', qc: 3 })])
  const file = join(other, 'backup.db')
  expect(run('backup', file, '--data', dir)).toMatchObject({ status: 0 })
  // The running one holds its lock: what needs it alone says so.
  expect(run('check', '--data', dir)).toMatchObject({ status: 1, err: expect.stringContaining('open in another process') as string })
  const to = join(other, 'restored')
  expect(run('restore', file, '--data', to)).toMatchObject({ status: 0, out: expect.stringMatching(/^21 readings in 1 blocks, \d+ inbox rows, 0 faults\n$/) as string })
  expect(run('restore', file, '--data', to)).toMatchObject({ status: 1, err: expect.stringContaining('exists already') as string })
  const all = run('export', '--data', to)
  expect(all.out.split('\r\n')).toHaveLength(1 + 21 + 1)
  expect(all.out).toContain('"say ""stop"", now",tu.do,2026-01-05T06:00:03.000Z,2026-01-05T06:00:03.180Z,,bad,missing,9\r\n')
  expect(run('export', 'depot/tu.ph', '--from', '2026-01-05T06:00:00Z', '--to', '2026-01-05T07:00:01+01:00', '--data', to).out).toBe(
    'site,signal,source_time,received_time,value,quality,reason,qc\r\ndepot,tu.ph,2026-01-05T06:00:00.000Z,2026-01-05T06:00:00.180Z,7.25,uncertain,not_accurate,3\r\n',
  )
  expect(run('export', 'depot/tu.do', '--data', to)).toMatchObject({ status: 1, err: expect.stringContaining('depot/tu.do is no signal') as string })
  expect(run('export', '--from', '2026-01-05', '--data', to)).toMatchObject({ status: 2, err: expect.stringContaining('a time with its zone is needed') as string })
  expect(run('parked', '--data', to)).toMatchObject({ status: 0, out: '0 parked\n' })
  // A mistyped folder is told, and stays empty; a file that is no backup is not put in place.
  const wrong = join(other, 'nowhere')
  for (const command of ['check', 'parked'])
    expect(run(command, '--data', wrong)).toMatchObject({ status: 1, err: `there is no history in ${wrong}: give its folder with --data DIR\n` })
  expect(existsSync(wrong)).toBe(false)
  const csv = join(other, 'readings.csv')
  writeFileSync(csv, 'site,signal\n'.repeat(1000))
  expect(run('restore', csv, '--data', wrong)).toMatchObject({ status: 1, err: expect.stringContaining(`${csv} is no backup of a history`) as string })
  expect(run('restore', file, '--data', wrong)).toMatchObject({ status: 0 })
  expect(run('import', other, '--data', wrong).err).not.toContain('    at ')
  expect(run('mend')).toMatchObject({ status: 2 })
}, 120_000)

test('an export is read in pages and every reading is in it once', async () => {
  const store = openStore(tempFolder())
  for (let i = 0; i < 12_345; i += 1_000) store.commit(Array.from({ length: Math.min(1_000, 12_345 - i) }, (_, k) => reading('depot/level', T0 + (i + k) * 1_000, i + k)))
  const pieces: string[] = []
  for await (const piece of longCsv(store, ['depot/level'], 0, T0 * 2)) pieces.push(piece)
  expect(pieces.length).toBe(1 + 3)
  expect(
    pieces
      .slice(1)
      .join('')
      .trimEnd()
      .split('\r\n')
      .map((l) => Number(l.split(',')[4])),
  ).toEqual(Array.from({ length: 12_345 }, (_, i) => i))
})
