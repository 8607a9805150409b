/** The radio link of a simulated site against a real broker: what is sent arrives, what cannot be sent waits within its bound. */
import { afterEach, expect, test } from 'vitest'
import { clientId, openLink, type Link } from '../../simulator/link.ts'
import { prng } from '../../simulator/random.ts'
import { startBroker, until, type TestBroker } from './broker.ts'

const open: (Link | TestBroker)[] = []
afterEach(async () => {
  for (const x of open.splice(0).reverse()) await ('stop' in x ? x.stop() : x.close())
})

const SECRETS = { kestrow: 'open sesame' }

async function broker(port = 0): Promise<TestBroker> {
  const b = await startBroker(SECRETS, port)
  open.push(b)
  return b
}

function link(url: string, over: { secret?: string; queue?: number; said?: string[]; suffix?: string } = {}): Link {
  const l = openLink({
    url,
    site: 'kestrow',
    login: { user: 'kestrow', secret: over.secret ?? SECRETS.kestrow },
    clientSuffix: over.suffix ?? 'a1',
    topic: 'loopkeeper/v1/kestrow',
    queue: over.queue ?? 100,
    inFlight: 4,
    next: prng(1, 'test'),
    say: (line) => void over.said?.push(line),
  })
  open.push(l)
  return l
}

const numbers = (b: TestBroker): readonly number[] => b.told.map((t) => Number(t.payload))

test('what is sent arrives once, in order, on the topic of the site', async () => {
  const b = await broker()
  const l = link(b.url)
  for (let i = 0; i < 60; i++) l.send(String(i))
  await l.drained(0)
  expect(numbers(b)).toEqual(Array.from({ length: 60 }, (_, i) => i))
  expect(new Set(b.told.map((t) => t.topic))).toEqual(new Set(['loopkeeper/v1/kestrow']))
  expect(l.counters.sent).toBe(60)
})

test('a wrong secret is refused, said once, and tried again without a flood', async () => {
  const b = await broker()
  const said: string[] = []
  const l = link(b.url, { secret: 'guess', said })
  await until('two refusals', () => l.counters.refused >= 2)
  expect(said).toHaveLength(1)
  expect(said[0]).toMatch(/kestrow: .*trying again/)
  expect(l.connected()).toBe(false)
  expect(b.told).toEqual([])
})

test('a broker that comes later gets everything that waited', async () => {
  const first = await broker()
  const { port } = first
  await first.stop()
  open.splice(0)
  const l = link(`mqtt://127.0.0.1:${port}`)
  for (let i = 0; i < 10; i++) l.send(String(i))
  await until('a failed try', () => l.counters.refused > 0)
  const b = await broker(port)
  await l.drained(0)
  expect(numbers(b)).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9])
})

test('a connection cut between sending and acknowledging loses nothing: every message arrives at least once', async () => {
  const b = await broker()
  const l = link(b.url)
  await until('a connection', () => l.connected())
  b.hold(true)
  for (let i = 0; i < 12; i++) l.send(String(i))
  await until('messages on their way', () => l.waiting() === 12)
  b.cut()
  b.hold(false)
  await l.drained(0)
  expect([...new Set(numbers(b))].sort((x, y) => x - y)).toEqual(Array.from({ length: 12 }, (_, i) => i))
  expect(l.counters.connects).toBe(2)
})

test('a full queue drops its oldest and counts them; the newest are sent when the radio is back', async () => {
  const b = await broker()
  const l = link(b.url, { queue: 5 })
  await until('a connection', () => l.connected())
  l.radio(false)
  await until('the radio to be gone', () => !l.connected())
  for (let i = 0; i < 12; i++) l.send(String(i))
  expect(l.waiting()).toBe(5)
  expect(l.counters.dropped).toBe(7)
  expect(b.told).toEqual([])
  l.radio(true)
  await l.drained(0)
  expect(numbers(b)).toEqual([7, 8, 9, 10, 11])
})

test('two programs that play the same site stand side by side: neither throws the other off the broker', async () => {
  const b = await broker()
  const first = link(b.url, { suffix: 'p1' })
  const second = link(b.url, { suffix: 'p2' })
  await until('both connected', () => first.connected() && second.connected())
  first.send('from the first')
  second.send('from the second')
  await Promise.all([first.drained(0), second.drained(0)])
  expect(b.told.map((t) => t.client).sort()).toEqual(['loop-kestrow-p1', 'loop-kestrow-p2'])
  expect([first.counters.connects, second.counters.connects]).toEqual([1, 1])
})

test('a client id is never longer than the 64 characters careful brokers take, and keeps its ending', () => {
  const id = clientId('x'.repeat(63), 'k2f9ab')
  expect(id).toHaveLength(64)
  expect(id).toMatch(/^loop-x+-k2f9ab$/)
})
