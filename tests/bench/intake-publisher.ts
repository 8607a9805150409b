/**
 * Publishes readings as fast as the broker acknowledges them, QoS 1, at most WINDOW on the way. Packets are written by hand,
 * so that this side is never the slow one. Run as a process of its own:
 *   intake-publisher PORT USER PASSWORD single|batch40 COUNT
 * Says "done MS" when the last one has been acknowledged. Message i of COUNT carries the time now - COUNT + i, so every
 * reading is new and live.
 */
import { connect } from 'node:net'
import { batchOf, SIGNALS, SITE, single } from './intake-load.ts'
import { PREFIX } from '../intake/parts.ts'

const WINDOW = 1000
const [port, user, password, kind, many] = process.argv.slice(2)
const count = Number(many)
const base = Date.now() - count

const text = (s: string): Buffer => {
  const bytes = Buffer.from(s, 'utf8')
  return Buffer.concat([Buffer.from([bytes.length >> 8, bytes.length & 255]), bytes])
}
function packet(type: number, body: Buffer): Buffer {
  const length: number[] = []
  let rest = body.length
  do {
    length.push((rest % 128) | (rest >= 128 ? 128 : 0))
    rest = Math.floor(rest / 128)
  } while (rest > 0)
  return Buffer.concat([Buffer.from([type, ...length]), body])
}

const topics = SIGNALS.map((s) => text(`${PREFIX}/${SITE}/${s}`))
const siteTopic = text(`${PREFIX}/${SITE}`)
const publish = (i: number): Buffer => {
  const id = Buffer.from([((i % 65_000) + 1) >> 8, ((i % 65_000) + 1) & 255])
  return kind === 'single'
    ? packet(0x32, Buffer.concat([topics[i % topics.length] ?? siteTopic, id, Buffer.from(single(base + i, i))]))
    : packet(0x32, Buffer.concat([siteTopic, id, Buffer.from(batchOf(base + i, i))]))
}

// Made beforehand: making them is not what is measured.
const packets = Array.from({ length: count }, (_, i) => publish(i))
const socket = connect(Number(port), '127.0.0.1')
socket.setNoDelay(true)
const login = user ? [text(user), text(password ?? '')] : []
socket.write(packet(0x10, Buffer.concat([text('MQTT'), Buffer.from([4, user ? 0xc2 : 0x02, 0, 0]), text('publisher'), ...login])))

let sent = 0
let acknowledged = 0
let from = 0
let waiting: Buffer = Buffer.alloc(0)
const fill = (): void => {
  const upTo = Math.min(count, acknowledged + WINDOW)
  if (sent >= upTo) return
  socket.cork()
  while (sent < upTo) {
    const next = packets[sent++]
    if (next) socket.write(next)
  }
  socket.uncork()
}
socket.on('data', (chunk) => {
  waiting = waiting.length === 0 ? chunk : Buffer.concat([waiting, chunk])
  // CONNACK and PUBACK both have four bytes.
  while (waiting.length >= 4) {
    const type = (waiting[0] ?? 0) >> 4
    if (type === 2) {
      if (waiting[3] !== 0) throw new Error(`connection refused with code ${waiting[3]}`)
      from = performance.now()
    } else if (type === 4) acknowledged++
    waiting = waiting.subarray(4)
  }
  if (acknowledged === count) {
    console.log(`done ${performance.now() - from}`)
    socket.end()
  } else fill()
})
socket.on('close', () => process.exit(acknowledged === count ? 0 : 1))
