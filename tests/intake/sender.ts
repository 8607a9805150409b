/** A controller as the tests play it: a plain mqtt.js client that never reconnects by itself. */
import mqtt, { type IClientOptions, type MqttClient } from 'mqtt'

export interface Sender {
  readonly client: MqttClient
  /** What happened to the connection, in order: 'connect', 'close'. */
  readonly events: string[]
  /** Publishes with QoS 1; 'acknowledged' on PUBACK, 'ended' when the connection closes before it. */
  send(topic: string, payload: string | Buffer, options?: { readonly qos?: 0 | 1 | 2; readonly retain?: boolean }): Promise<'acknowledged' | 'ended'>
  /** Reason code of a SUBSCRIBE; 128 and above: refused. */
  subscribe(filter: string): Promise<number>
  end(): Promise<void>
}

/** Connects, or rejects with the broker's refusal. */
export async function connectSender(port: number, options: IClientOptions): Promise<Sender> {
  const client = mqtt.connect(`mqtt://127.0.0.1:${port}`, { reconnectPeriod: 0, connectTimeout: 5000, ...options })
  client.setMaxListeners(0)
  const events: string[] = []
  client.on('connect', () => events.push('connect'))
  client.on('close', () => events.push('close'))
  await new Promise<void>((resolve, fail) => {
    client.once('connect', () => resolve())
    client.once('error', fail)
    client.once('close', () => fail(new Error('closed before CONNACK')))
  }).catch((e: unknown) => {
    client.on('error', () => undefined)
    client.end(true)
    throw e
  })
  client.on('error', () => undefined)
  return {
    client,
    events,
    send: (topic, payload, o = {}) =>
      new Promise((resolve) => {
        client.once('close', () => resolve('ended'))
        client.publish(topic, payload, { qos: 1, ...o }, (e) => {
          if (!e) resolve('acknowledged')
        })
      }),
    subscribe: (filter) =>
      new Promise((resolve) => {
        // With an error the library still shows the QoS that was asked for as granted.
        client.subscribe(filter, { qos: 1 }, (e, granted) => resolve(e ? 128 : (granted?.[0]?.qos ?? 255)))
      }),
    end: () => client.endAsync(true),
  }
}
