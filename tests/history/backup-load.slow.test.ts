import { execFile } from 'node:child_process'
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import mqtt from 'mqtt'
import { expect, onTestFinished, test } from 'vitest'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { makeFolder, startProduct, threeSignals, until } from '../product.ts'
import { reading } from '../history.contract.ts'

const root = fileURLToPath(new URL('../..', import.meta.url))
const clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }

/** The command as a person runs it, in a process of its own. */
const command = (...args: string[]): Promise<string> =>
  new Promise((resolve, reject) => {
    execFile(process.execPath, ['--import', 'tsx', 'gateway/history-command.ts', ...args], { cwd: root }, (e, out, err) => (e ? reject(new Error(err)) : resolve(out)))
  })

test('a backup taken by command while readings pour in comes to an end, restores to a history that passes the check, and lacks nothing acknowledged before it began', async () => {
  const folder = makeFolder({ 'yard-1.yaml': threeSignals })
  onTestFinished(() => folder.remove())
  // Some size, so that the copy takes longer than a commit.
  const older = openEmbedded({ dir: folder.data, clock })
  const long = Date.now() - 30 * 86_100_000
  for (let i = 0; i < 100_000; i += 5_000) older.commit(Array.from({ length: 5_000 }, (_, k) => reading('yard-1/tu.do', long + (i + k) * 1_000, Math.sin((i + k) * 1.7))))
  await older.sealAll()
  await older.close()
  const product = await startProduct(folder)
  onTestFinished(() => product.kill())
  const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${product.mqttPort}`, { username: 'yard-1', password: product.secrets.get('yard-1') ?? '', reconnectPeriod: 0 })
  onTestFinished(() => void client.end(true))
  const start = Math.floor(Date.now() / 1000) * 1000 - 3_600_000
  const acknowledged: number[] = []
  let pouring = true
  let sent = 0
  const pour = async (): Promise<void> => {
    while (pouring) {
      const some = Array.from({ length: 50 }, () => start + sent++ * 10)
      await Promise.all(some.map((t) => client.publishAsync('loopkeeper/v1/yard-1/sump.level', JSON.stringify({ v: 40 + (t % 700) / 70, t }), { qos: 1 })))
      acknowledged.push(...some)
    }
  }
  const poured = pour()
  await until(
    () => acknowledged.length >= 500,
    20_000,
    () => `${acknowledged.length} acknowledged`,
  )
  const before = acknowledged.length
  const file = join(folder.dir, 'backup.db')
  await command('backup', file, '--data', folder.data)
  const after = acknowledged.length
  expect(after).toBeGreaterThan(before)
  pouring = false
  await poured
  const to = join(folder.dir, 'restored')
  mkdirSync(to)
  expect(await command('restore', file, '--data', to)).toMatch(/^\d+ readings in \d+ blocks, \d+ inbox rows, 0 faults\n$/)
  const restored = openEmbedded({ dir: to, clock })
  onTestFinished(() => restored.close())
  const held = new Set((await restored.range('yard-1/sump.level', 0, 2 ** 45, 10_000_000)).map((r) => r.sourceMs))
  expect(acknowledged.slice(0, before).filter((t) => !held.has(t))).toEqual([])
  expect(await restored.range('yard-1/tu.do', 0, long + 100_000_000, 10_000_000)).toHaveLength(100_000)
})
