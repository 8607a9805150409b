/** A real Mosquitto on a loopback port, with a configuration of its own in a temporary folder. */
import { spawn, type ChildProcess } from 'node:child_process'
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { freePort, until } from './parts.ts'

const PATHS = ['/usr/sbin/mosquitto', '/usr/local/sbin/mosquitto', '/opt/homebrew/sbin/mosquitto']
export const mosquittoPath: string | null = PATHS.find((p) => existsSync(p)) ?? null

/** What a skipped test says of itself. */
export const withoutMosquitto = mosquittoPath === null ? ' (skipped: no Mosquitto on this machine, apt-get install mosquitto)' : ''

export interface Mosquitto {
  readonly port: number
  readonly dir: string
  start(): Promise<void>
  /** SIGTERM by default, on which it writes its sessions to disk. */
  stop(signal?: NodeJS.Signals): Promise<void>
  /** Stops and removes its folder. */
  remove(): Promise<void>
}

/** `keeps`: sessions and queued messages survive a restart. `saves`: also a kill -9, apart from what came since the last second or so. `listen`: lines for the listener, TLS or passwords. `inFlight`: 0 is no limit. */
export async function createMosquitto(
  options: { readonly keeps?: boolean; readonly saves?: boolean; readonly listen?: readonly string[]; readonly port?: number; readonly inFlight?: number } = {},
): Promise<Mosquitto> {
  if (mosquittoPath === null) throw new Error('no Mosquitto on this machine')
  const path = mosquittoPath
  const dir = mkdtempSync(join(tmpdir(), 'mosquitto-'))
  const port = options.port ?? (await freePort())
  const config = join(dir, 'mosquitto.conf')
  writeFileSync(
    config,
    [
      `listener ${port} 127.0.0.1`,
      ...(options.listen ?? ['allow_anonymous true']),
      // Started as root it would become a user who may not write here; started as anybody else the line says nothing.
      'user root',
      `persistence ${options.keeps === false ? 'false' : 'true'}`,
      `persistence_location ${dir}/`,
      ...(options.saves === true ? ['autosave_interval 1'] : []),
      // M1: with the defaults it drops for a slow consumer without a word.
      'max_queued_messages 0',
      `max_inflight_messages ${options.inFlight ?? 20}`,
      'log_dest none',
      '',
    ].join('\n'),
  )
  let child: ChildProcess | null = null
  const answers = (): Promise<boolean> =>
    new Promise((resolve) => {
      const socket = connect(port, '127.0.0.1')
      socket.once('connect', () => (socket.destroy(), resolve(true)))
      socket.once('error', () => resolve(false))
    })
  const broker: Mosquitto = {
    port,
    dir,
    async start() {
      const started = spawn(path, ['-c', config], { stdio: 'ignore' })
      child = started
      let up = false
      const ask = async (): Promise<void> => {
        while (!up && started.exitCode === null) up = await answers()
      }
      void ask()
      await until('Mosquitto answers', () => up || started.exitCode !== null)
      if (!up) throw new Error(`Mosquitto ended with ${started.exitCode}`)
    },
    async stop(signal = 'SIGTERM') {
      const running = child
      child = null
      if (!running || running.exitCode !== null) return
      const ended = new Promise((resolve) => running.once('exit', resolve))
      running.kill(signal)
      await ended
    },
    async remove() {
      await broker.stop()
      rmSync(dir, { recursive: true, force: true })
    },
  }
  return broker
}
