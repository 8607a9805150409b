/** A real victoria-metrics on a loopback port: it takes the write call of InfluxDB 2.x and is nobody's work here. */
import { spawn, type ChildProcess } from 'node:child_process'
import { existsSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { freePort } from '../intake/parts.ts'

const PATHS = ['/usr/bin/victoria-metrics', '/usr/local/bin/victoria-metrics']
export const victoriaPath: string | null = PATHS.find((p) => existsSync(p)) ?? null
export const withoutVictoria = victoriaPath === null ? ' (skipped: no victoria-metrics on this machine, apt-get install victoria-metrics)' : ''

export interface Victoria {
  readonly url: string
  /** Every series whose name begins so, after all that was taken can be found: name, labels, values and times (ms). */
  exported(match: string): Promise<readonly Exported[]>
  remove(): Promise<void>
}

export interface Exported {
  readonly metric: Readonly<Record<string, string>>
  readonly values: readonly number[]
  readonly timestamps: readonly number[]
}

export async function startVictoria(): Promise<Victoria> {
  if (victoriaPath === null) throw new Error('no victoria-metrics on this machine')
  const dir = mkdtempSync(join(tmpdir(), 'victoria-'))
  const port = await freePort()
  const url = `http://127.0.0.1:${port}`
  const child: ChildProcess = spawn(victoriaPath, [`-storageDataPath=${dir}`, `-httpListenAddr=127.0.0.1:${port}`, '-retentionPeriod=100y', '-memory.allowedPercent=20'], {
    stdio: 'ignore',
  })
  const end = performance.now() + 30_000
  while (
    !(await fetch(`${url}/health`).then(
      (r) => r.ok,
      () => false,
    ))
  ) {
    if (child.exitCode !== null || performance.now() > end) throw new Error(`victoria-metrics does not answer (exit ${child.exitCode})`)
    await new Promise((resolve) => setTimeout(resolve, 20))
  }
  return {
    url,
    async exported(match) {
      await fetch(`${url}/internal/force_flush`)
      const answer = await fetch(`${url}/api/v1/export?reduce_mem_usage=1&match[]=${encodeURIComponent(match)}`)
      return (await answer.text())
        .split('\n')
        .filter((l) => l !== '')
        .map((l) => JSON.parse(l) as Exported)
    },
    async remove() {
      if (child.exitCode === null) {
        const ended = new Promise((resolve) => child.once('exit', resolve))
        child.kill('SIGKILL')
        await ended
      }
      rmSync(dir, { recursive: true, force: true })
    },
  }
}
