import { spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { openInflux1 } from '../../gateway/history/influx1.ts'
import { LATEST_RECORD_MS } from '../../gateway/history/line.ts'
import { historyContract, reading } from '../history.contract.ts'
import { ADMIN, createInfluxd, influxdPath, withoutInfluxd, type Influxd } from './influxd.ts'

const tool = 'openssl'
const noOpenssl = spawnSync(tool, ['version']).status !== 0

for (const [how, auth, tls] of [
  ['without authentication', false, false],
  ['with authentication', true, false],
  ['with authentication over TLS', true, true],
] as const) {
  const why = withoutInfluxd || (tls && noOpenssl ? ' (skipped: no openssl on this machine to make a certificate)' : '')
  describe.skipIf(influxdPath === null || (tls && noOpenssl))(`InfluxDB 1.x ${how}${why}`, () => {
    let influxd: Influxd | null = null
    let ca: string | null = null
    let made = 0
    const dir = mkdtempSync(join(tmpdir(), 'certificate-'))
    beforeAll(async () => {
      const [certFile, keyFile] = [join(dir, 'cert.pem'), join(dir, 'key.pem')]
      if (tls) {
        const asked = [
          'req',
          '-x509',
          '-newkey',
          'rsa:2048',
          '-nodes',
          '-days',
          '2',
          '-subj',
          '/CN=localhost',
          '-addext',
          'subjectAltName=IP:127.0.0.1',
          '-keyout',
          keyFile,
          '-out',
          certFile,
        ]
        const ran = spawnSync(tool, asked)
        if (ran.status !== 0) throw new Error(String(ran.stderr))
        ca = readFileSync(certFile, 'utf8')
      }
      influxd = await createInfluxd({ auth, ...(tls && { tls: { certFile, keyFile } }) })
      await influxd.start()
    })
    afterAll(async () => {
      await influxd?.remove()
      rmSync(dir, { recursive: true, force: true })
    })
    const address = (): Parameters<typeof openInflux1>[0] => ({
      url: influxd?.url ?? '',
      // A name that needs quoting, one for each test.
      database: `yard "${made++}" history`,
      user: auth ? ADMIN.user : null,
      password: auth ? ADMIN.password : null,
      ca,
    })

    historyContract(
      'the record in InfluxDB',
      async () => {
        const history = openInflux1(address())
        return { history, close: () => history.close() }
      },
      { latestMs: LATEST_RECORD_MS },
    )

    if (auth)
      test('a wrong password is told as that, and nothing is taken', async () => {
        const history = openInflux1({ ...address(), password: 'wrong' })
        await expect(history.append([reading('depot/do', 1_000, 1)])).rejects.toThrow(/password/)
        await history.close()
      })

    if (tls)
      test('a certificate of nobody we know is refused', async () => {
        const history = openInflux1({ ...address(), ca: null })
        await expect(history.append([reading('depot/do', 1_000, 1)])).rejects.toThrow(/certificate/)
        await history.close()
      })
  })
}
