/** A real broker in the test's own process, on a free port of the loopback, that knows a list of credentials. */
import { createServer, type AddressInfo, type Server, type Socket } from 'node:net'
import { Aedes } from 'aedes'

export interface Told {
  readonly topic: string
  readonly payload: string
  readonly client: string
}

export interface TestBroker {
  readonly url: string
  readonly port: number
  readonly told: Told[]
  /** Cuts every connection that stands. */
  cut(): void
  /** Lets anybody in from now on. */
  open(): void
  /** While true nothing is acknowledged. */
  hold(on: boolean): void
  stop(): Promise<void>
}

export async function startBroker(secrets: Readonly<Record<string, string>>, port = 0): Promise<TestBroker> {
  const told: Told[] = []
  const sockets = new Set<Socket>()
  let held = false
  let anybody = false
  const waiting: (() => void)[] = []
  const aedes = await Aedes.createBroker()
  aedes.authenticate = (_client, user, password, done) => {
    const known = anybody || (user !== undefined && secrets[user] === String(password))
    done(known ? null : Object.assign(new Error('unknown site or wrong secret'), { returnCode: 4 }), known)
  }
  aedes.authorizePublish = (client, packet, done) => {
    const take = (): void => {
      told.push({ topic: packet.topic, payload: packet.payload.toString(), client: client?.id ?? '' })
      done(null)
    }
    if (held) waiting.push(take)
    else take()
  }
  const server: Server = createServer((socket) => {
    sockets.add(socket)
    socket.on('close', () => sockets.delete(socket))
    aedes.handle(socket)
  })
  await new Promise<void>((ready) => server.listen(port, '127.0.0.1', ready))
  const at = (server.address() as AddressInfo).port
  return {
    url: `mqtt://127.0.0.1:${at}`,
    port: at,
    told,
    cut: () => {
      for (const s of sockets) s.destroy()
    },
    open: () => void (anybody = true),
    hold(on) {
      held = on
      if (!on) for (const take of waiting.splice(0)) take()
    },
    async stop() {
      for (const s of sockets) s.destroy()
      await new Promise<void>((done) => server.close(() => done()))
      await new Promise<void>((done) => aedes.close(() => done()))
    },
  }
}

/** Waits for a condition, at most `withinMs`; says what it waited for when it never came. */
export async function until(what: string, holds: () => boolean, withinMs = 20_000): Promise<void> {
  const end = performance.now() + withinMs
  while (!holds()) {
    if (performance.now() > end) throw new Error(`never came: ${what}`)
    await new Promise((r) => setTimeout(r, 10))
  }
}
