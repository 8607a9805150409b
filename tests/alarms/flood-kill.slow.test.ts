import { spawn } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { rebuild } from '../../gateway/alarms/life.ts'
import { makeDisk, type Disk } from './disk.ts'

const KILLS = 20

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

/** Lets the flood run until it has told `lines` events, kills it -9, gives what it told. */
async function floodOnce(round: number, lines: number): Promise<readonly string[]> {
  const child = spawn(process.execPath, ['--import', 'tsx', fileURLToPath(new URL('./flooder.ts', import.meta.url)), disk.dir, String(round)], {
    stdio: ['ignore', 'pipe', 'pipe'],
  })
  let out = ''
  let err = ''
  let seen = 0
  child.stderr.on('data', (d: Buffer) => {
    err += d.toString()
  })
  const ended = new Promise<void>((done) => child.on('close', () => done()))
  child.stdout.on('data', (d: Buffer) => {
    out += d.toString()
    seen += d.toString().split('\n').length - 1
    if (seen >= lines) child.kill('SIGKILL')
  })
  const late = setTimeout(() => child.kill('SIGKILL'), 25_000)
  await ended
  clearTimeout(late)
  if (seen < lines) throw new Error(`the flood told ${seen} events only: ${err}`)
  // The last line may be cut in the middle.
  return out.split('\n').slice(0, -1)
}

test('killed -9 in the middle of an alarm flood, 20 times over: the journal is whole, every occurrence announced is in it exactly once, and none is announced twice', async () => {
  const told: string[] = []
  for (let i = 0; i < KILLS; i++) told.push(...(await floodOnce(i, 150 + 211 * (i % 7))))
  const { journal } = await disk.open()
  const written = (await journal.query({ fromMs: 0, toMs: 1e14, limit: 10_000_000 })).toReversed()
  expect(written.map((e) => e.seq)).toEqual(written.map((_, i) => i + 1))
  expect(new Map(journal.lives())).toEqual(rebuild(written))

  const announced = told.filter((l) => l.startsWith('raised ')).map((l) => l.slice(7))
  expect(announced.length).toBeGreaterThan(KILLS * 50)
  expect(new Set(announced).size).toBe(announced.length)
  const inJournal = new Map<string, number>()
  for (const e of written) if (e.kind === 'raised') inJournal.set(e.occurrence, (inJournal.get(e.occurrence) ?? 0) + 1)
  expect([...inJournal.values()].every((n) => n === 1)).toBe(true)
  expect(announced.filter((o) => inJournal.get(o) !== 1)).toEqual([])
  for (const kind of ['shelved', 'unshelved', 'raised-hidden']) expect(written.some((e) => e.kind === kind)).toBe(true)
})
