import { spawnSync } from 'node:child_process'
import { mkdirSync, rmSync, statfsSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import mqtt from 'mqtt'
import { expect, onTestFinished, test } from 'vitest'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder } from '../product.ts'

const MIB = 1_048_576
// Tools of the system, not of a package.
const [mount, umount] = ['mount', 'umount']

/** A small disk of its own as the data folder; null: only root may make one. */
function smallDisk(megabytes: number): Folder | null {
  const folder = makeFolder({})
  const mounted = spawnSync(mount, ['-t', 'tmpfs', '-o', `size=${megabytes}m`, 'tmpfs', folder.data]).status === 0
  if (!mounted) {
    folder.remove()
    return null
  }
  mkdirSync(join(folder.data, 'sites'))
  writeFileSync(join(folder.data, 'sites', 'yard-1.yaml'), threeSignals)
  return {
    ...folder,
    remove() {
      spawnSync(umount, ['-l', folder.data])
      folder.remove()
    },
  }
}

const mayMount = process.getuid?.() === 0 && spawnSync(mount, ['--version']).status === 0

test.skipIf(!mayMount)(
  'disk full: readings are refused before they are acknowledged and the health page says so; when there is room again all arrive by themselves, each once',
  async (context) => {
    const folder = smallDisk(24)
    if (!folder) return context.skip('a tmpfs cannot be mounted here')
    onTestFinished(() => folder.remove())
    const product = await startProduct(folder)
    onTestFinished(() => product.kill())
    const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${product.mqttPort}`, {
      username: 'yard-1',
      password: product.secrets.get('yard-1') ?? '',
      clientId: 'panel',
      clean: false,
      reconnectPeriod: 100,
    })
    onTestFinished(() => void client.end(true))
    const start = Math.floor(Date.now() / 1000) * 1000 - 3_600_000
    const acknowledged = new Set<number>()
    let sent = 0
    const publish = (): void => {
      const at = start + sent++ * 100
      client.publish('loopkeeper/v1/yard-1/tu.do', JSON.stringify({ v: 6 + Math.sin(at) / 3, t: at }), { qos: 1 }, (e) => {
        if (!e) acknowledged.add(at)
      })
    }
    for (let i = 0; i < 50; i++) publish()
    await until(
      () => acknowledged.size === 50,
      20_000,
      () => `${acknowledged.size} of 50 acknowledged`,
    )

    // All but nothing of the disk is taken by somebody else.
    const ballast = join(folder.data, 'somebody-elses')
    const free = (): number => statfsSync(folder.data).bavail * statfsSync(folder.data).bsize
    writeFileSync(ballast, Buffer.alloc(Math.max(0, free() - 64 * 1024)))
    const health = async (): Promise<{ troubles: string[]; counters: { name: string; value: number }[] }> => (await (await product.api('/api/health')).json()) as never
    const refusing = async (): Promise<boolean> => (await health()).troubles.some((t) => t.includes('The history takes no readings') && t.includes('free some space'))
    await until(
      async () => {
        for (let i = 0; i < 40; i++) publish()
        return refusing()
      },
      60_000,
      () => `no word of a full disk after ${sent} readings, ${free()} bytes free`,
    )
    const before = acknowledged.size
    expect(before).toBeLessThan(sent)
    const shown = (await (await product.api('/api/loops/yard-1')).json()) as object
    expect(Object.keys(shown).length).toBeGreaterThan(3)

    rmSync(ballast)
    await until(
      () => acknowledged.size === sent,
      60_000,
      () => `${acknowledged.size} of ${sent} acknowledged, ${free() / MIB} MiB free`,
    )
    await until(
      async () => !(await refusing()),
      10_000,
      () => 'still said to be full',
    )
    expect(await product.stop()).toBe(0)
    const store = openEmbedded({ dir: folder.data, clock: { nowMs: () => Date.now(), steadyMs: () => performance.now() } })
    onTestFinished(() => store.close())
    expect((await store.check()).faultCount).toBe(0)
    const held = await store.range('yard-1/tu.do', 0, 2 ** 45, 1_000_000)
    expect(held.map((r) => r.sourceMs)).toEqual(Array.from({ length: sent }, (_, i) => start + i * 100))
  },
)
