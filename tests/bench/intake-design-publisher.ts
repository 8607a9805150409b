/** The fleet of the design load: one message of each loop every 10 s, evenly over the time, QoS 1, until it is killed. `intake-design-publisher PORT SITES LOOPS` */
import { readFileSync } from 'node:fs'
import mqtt from 'mqtt'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { PREFIX } from '../intake/parts.ts'

const [port, file = '', loops = '0'] = process.argv.slice(2)
const read = readSiteFile('loop.yaml', readFileSync(file, 'utf8'))
if (!read.ok) throw new Error(JSON.stringify(read.faults))
const HEALTHY: Readonly<Record<string, number>> = {
  do: 6,
  ph: 7.3,
  temperature: 18,
  level: 55,
  pressure: 170,
  present: 1,
  auto: 1,
  orp: 200,
  strength: -80,
  humidity: 60,
  voltage: 230,
  turbidity: 8,
  conductivity: 900,
}
const EVERY_MS = 10_000
const many = Number(loops)
const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`)
const body = (loop: number, atMs: number, round: number): string => {
  const wave = Math.sin((loop + round) / 7) * 0.2 + ((loop * 7919 + round * 104_729) % 97) / 970
  const signals = read.site.signals.map((s) => {
    const base = HEALTHY[s.quantity] ?? (s.id.startsWith('blower') ? 3 : 0)
    const value = s.range[1] === 1 ? Math.min(1, Math.max(0, Math.round(base))) : s.range[1] > 1e9 ? 1000 + round : Number((base + wave).toFixed(2))
    return `"${s.id}":${value}`
  })
  return `{"t":${atMs},"signals":{${signals.join(',')}}}`
}
const from = Date.now()
let sent = 0
setInterval(() => {
  const due = Math.floor(((Date.now() - from) * many) / EVERY_MS)
  for (; sent < due; sent++) client.publish(`${PREFIX}/loop-${sent % many}`, body(sent % many, Date.now(), Math.floor(sent / many)), { qos: 1 })
}, 20)
