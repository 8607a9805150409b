/** The shortest script a user would write: every message parsed, its readings written to InfluxDB in batches each second. Nothing is checked or kept before the write. `intake-script-plain PORT URL DATABASE` */
import influx from 'influx'
import mqtt from 'mqtt'
import { PREFIX } from '../intake/parts.ts'

const [port, url = '', database = ''] = process.argv.slice(2)
const { hostname, port: influxPort } = new URL(url)
const db = new influx.InfluxDB({ host: hostname, port: Number(influxPort), database })
interface Body {
  readonly v?: number
  readonly t: number
  readonly signals?: Readonly<Record<string, number>>
}
let points: influx.IPoint[] = []
const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`)
client.on('message', (topic, payload) => {
  const m = JSON.parse(payload.toString()) as Body
  const [site = '', signal = ''] = topic.slice(PREFIX.length + 1).split('/')
  for (const [name, v] of Object.entries(m.signals ?? { [signal]: m.v ?? 0 }))
    points.push({ measurement: 'reading', tags: { site, signal: name }, fields: { v }, timestamp: new Date(m.t) })
})
await client.subscribeAsync(`${PREFIX}/#`, { qos: 1 })
setInterval(() => {
  const all = points
  points = []
  for (let i = 0; i < all.length; i += 5000) db.writePoints(all.slice(i, i + 5000), { precision: 'ms' }).catch((e: unknown) => console.error(e))
}, 1000)
console.log('ready')
