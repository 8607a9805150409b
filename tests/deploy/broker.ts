/** Debian's Mosquitto with the configuration of deploy/mosquitto, on loopback ports of its own, in the folder of a test server. */
import { spawn, type ChildProcess } from 'node:child_process'
import { copyFileSync, mkdirSync, writeFileSync } from 'node:fs'
import { createConnection } from 'node:net'
import mqtt, { type IClientOptions, type MqttClient } from 'mqtt'
import { mosquittoPath } from '../intake/mosquitto.ts'
import { freePort } from '../intake/parts.ts'
import { until } from '../product.ts'
import { deploy, deployText, type Server } from './readme.ts'

export interface Broker {
  readonly localPort: number
  readonly tlsPort: number
  readonly certificatePort: number
  start(): Promise<void>
  /** As `systemctl reload` does it: passwords and rights are read anew, within its next turn; it logs nothing about it. */
  reload(): void
  stop(): Promise<void>
  readonly log: () => string
}

/** Replaces `was`, which must be there: a line that is gone from the shipped file must not go unnoticed. */
function put(text: string, was: string, is: string): string {
  if (!text.includes(was)) throw new Error(`"${was}" is not in the shipped configuration`)
  return text.replaceAll(was, is)
}

/** `certificates`: with the optional listener for client certificates. Everything else is as shipped, but for ports and where things lie. */
export async function makeBroker(server: Server, options: { readonly certificates?: boolean } = {}): Promise<Broker> {
  if (mosquittoPath === null) throw new Error('no Mosquitto on this machine')
  const path = mosquittoPath
  const [localPort, tlsPort, certificatePort] = [await freePort(), await freePort(), await freePort()]
  copyFileSync(deploy('mosquitto/acl'), server.at('/etc/mosquitto/loopkeeper/acl'))
  let text = deployText('mosquitto/loopkeeper.conf')
  text = put(text, 'listener 1883 127.0.0.1', `listener ${localPort} 127.0.0.1`)
  text = put(text, 'listener 8883\n', `listener ${tlsPort} 127.0.0.1\n`)
  if (options.certificates === true) text += put(deployText('mosquitto/client-certificates.conf'), 'listener 8884\n', `listener ${certificatePort} 127.0.0.1\n`)
  text = put(text, '/etc/mosquitto/', `${server.at('/etc/mosquitto')}/`)
  const store = server.at('/var/lib/mosquitto')
  mkdirSync(store, { recursive: true })
  const config = server.at('/etc/mosquitto/mosquitto.conf')
  // The lines of Debian's own mosquitto.conf. Started as root it would become a user who may not write here.
  writeFileSync(config, `user root\npersistence true\npersistence_location ${store}/\nlog_dest stdout\n${text}`)
  let child: ChildProcess | null = null
  let log = ''
  return {
    localPort,
    tlsPort,
    certificatePort,
    log: () => log,
    async start() {
      const started = spawn(path, ['-c', config], { stdio: ['ignore', 'pipe', 'pipe'] })
      child = started
      for (const stream of [started.stdout, started.stderr]) stream.setEncoding('utf8').on('data', (d: string) => (log += d))
      const ports = options.certificates === true ? [localPort, tlsPort, certificatePort] : [localPort, tlsPort]
      for (const port of ports)
        await until(
          () => started.exitCode !== null || answers(port),
          10_000,
          () => `Mosquitto does not answer on ${port}:\n${log}`,
        )
      if (started.exitCode !== null) throw new Error(`Mosquitto ended with ${started.exitCode}:\n${log}`)
    },
    reload: () => void child?.kill('SIGHUP'),
    async stop() {
      const running = child
      child = null
      if (!running || running.exitCode !== null) return
      const ended = new Promise((resolve) => running.once('exit', resolve))
      running.kill('SIGTERM')
      await ended
    },
  }
}

const answers = (port: number): Promise<boolean> =>
  new Promise((resolve) => {
    const socket = createConnection(port, '127.0.0.1')
    socket.once('connect', () => (socket.destroy(), resolve(true)))
    socket.once('error', () => resolve(false))
  })

/** Connects once, or rejects with what the other side said. `heard` is told of messages that come along with the greeting as well. */
export async function connectOnce(url: string, options: IClientOptions, heard?: (topic: string, payload: Buffer) => void): Promise<MqttClient> {
  const client = mqtt.connect(url, { reconnectPeriod: 0, connectTimeout: 5000, ...options })
  if (heard) client.on('message', heard)
  return new Promise((resolve, fail) => {
    const refuse = (e: Error): void => {
      client.on('error', () => undefined)
      client.end(true)
      fail(e)
    }
    client.once('connect', () => resolve(client))
    client.once('error', refuse)
    client.once('close', () => refuse(new Error('closed before CONNACK')))
  })
}
