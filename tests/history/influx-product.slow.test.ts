import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { compose } from '../../gateway/compose.ts'
import { reading } from '../history.contract.ts'
import { realClock, until } from '../intake/parts.ts'
import { openRecord } from './influx.ts'
import { ADMIN, createInfluxd, influxdPath, withoutInfluxd, type Influxd } from './influxd.ts'
import { tempFolder } from './store.ts'

describe.skipIf(influxdPath === null)(`the product with InfluxDB in its settings${withoutInfluxd}`, () => {
  let influxd: Influxd | null = null
  beforeAll(async () => {
    influxd = await createInfluxd({ auth: true })
    await influxd.start()
  })
  afterAll(() => influxd?.remove())

  test('readings go on to it, trends reach back to what only it holds, and the health page shows the backlog', async () => {
    const dataDir = tempFolder()
    const passwordFile = join(dataDir, 'password')
    writeFileSync(passwordFile, `${ADMIN.password}\n`)
    const to = { url: influxd?.url ?? '', database: 'yards', user: ADMIN.user, password: ADMIN.password }
    const record = openRecord(to)
    const longAgo = Date.now() - 40 * 86_400_000
    await record.append([reading('depot/tu.do', longAgo, 4.5)])
    const parts = await compose(
      {
        dataDir,
        synchronous: 'normal',
        prefix: 'loopkeeper/v1',
        influx: { url: to.url, database: 'yards', user: ADMIN.user, passwordFile, caFile: null, tokenFile: null, org: null, bucket: null },
      },
      realClock,
      tempFolder(),
    )
    const core = parts.start({ brokers: () => [], counters: () => [], troubles: () => [] })
    const now = Date.now()
    parts.history.commit([reading('depot/tu.do', now, 6.5)])
    const counter = (name: string): number | undefined => core.port.health().counters.find((c) => c.name === name)?.value
    await until('it is forwarded', () => counter('recordForwarded') === 1 && counter('recordBacklogBytes') === 0, 20_000)
    expect((await record.range('depot/tu.do', 0, now + 1, 10)).map((r) => r.value)).toEqual([4.5, 6.5])
    expect((await core.port.history.range('depot/tu.do', 0, now + 1, 10)).map((r) => r.value)).toEqual([4.5, 6.5])
    expect(core.port.health().troubles.filter((t) => t.includes('InfluxDB'))).toEqual([])
    await parts.stop()
  })

  test('a password file that is not there stops the start with its name', async () => {
    const dataDir = tempFolder()
    const influx = { url: 'http://127.0.0.1:9', database: 'x', user: 'a', passwordFile: join(dataDir, 'none'), caFile: null, tokenFile: null, org: null, bucket: null }
    await expect(compose({ dataDir, synchronous: 'normal', prefix: 'loopkeeper/v1', influx }, realClock, tempFolder())).rejects.toThrow(
      /^--influx-password-file .*none cannot be read/,
    )
  })
})
