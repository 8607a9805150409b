/** Loops that report once a second, every value well within its limits, until it is killed. `alarms-browser-load PORT`, names and passwords as JSON on standard input. */
import { readFileSync } from 'node:fs'
import mqtt from 'mqtt'

const users = JSON.parse(readFileSync(0, 'utf8')) as readonly (readonly [user: string, password: string])[]
const port = Number(process.argv[2])
const clients = await Promise.all(users.map(([username, password]) => mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { username, password, clientId: `load-${username}` })))
console.log('connected')
const from = Date.now()
let sent = 0
setInterval(() => {
  const due = Math.floor(((Date.now() - from) * users.length) / 1000)
  for (; sent < due; sent++) {
    const at = sent % users.length
    const wave = Math.sin(sent / 97)
    const signals = { 'tu.do': 6 + wave / 2, 'tu.ph': 7.3 + wave / 10, 'tu.temperature': 18, 'sump.level': 40 + wave, 'finished.level': 60 - wave, 'tu.orp': 150 }
    clients[at]?.publish(`loopkeeper/v1/${users[at]?.[0]}`, JSON.stringify({ t: Date.now(), signals }), { qos: 1 })
  }
}, 20)
