import { spawn } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { rebuild } from '../../gateway/alarms/life.ts'
import { makeDisk, type Disk } from './disk.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

/** Starts the appender, kills it -9 once it has reported `batches` of them, gives the last number it saw on disk. */
async function killMidAppend(batches: number): Promise<number> {
  const child = spawn(process.execPath, ['--import', 'tsx', fileURLToPath(new URL('./appender.ts', import.meta.url)), disk.dir], { stdio: ['ignore', 'pipe', 'pipe'] })
  let out = ''
  let err = ''
  child.stderr.on('data', (d: Buffer) => {
    err += d.toString()
  })
  const ended = new Promise<void>((done) => child.on('close', () => done()))
  child.stdout.on('data', (d: Buffer) => {
    out += d.toString()
    if (out.split('\n').length > batches) child.kill('SIGKILL')
  })
  const late = setTimeout(() => child.kill('SIGKILL'), 25_000)
  await ended
  clearTimeout(late)
  const numbers = out.split('\n').slice(0, -1).map(Number)
  if (numbers.length < batches) throw new Error(`the appender wrote ${numbers.length} batches only: ${err}`)
  return numbers.at(-1) ?? 0
}

test('killed -9 in the middle of an append, three times over: everything reported is there, no batch is half there, state and journal agree', async () => {
  for (const batches of [3, 9, 20]) {
    const reported = await killMidAppend(batches)
    const { db, journal } = await disk.open()
    const written = (await journal.query({ fromMs: 0, toMs: 1e13, limit: 1_000_000 })).toReversed()
    expect(written.length).toBeGreaterThanOrEqual(reported)
    expect(written.map((e) => e.seq)).toEqual(written.map((_, i) => i + 1))
    expect(new Map(journal.lives())).toEqual(rebuild(written))
    await db.destroy()
  }
})
