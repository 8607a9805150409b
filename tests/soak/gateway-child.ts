/** The gateway alone, as a process that can be killed: flags as for the product, site files in --sites. Says "ready" when it takes messages from everywhere. */
import { readConfig } from '../../gateway/config.ts'
import { startGateway, systemClock } from '../../gateway/main.ts'
import { until } from '../intake/parts.ts'

const settings = readConfig(process.argv.slice(2), {})
if (!settings.ok) throw new Error(settings.message)
const { port } = await startGateway(settings.config, systemClock, settings.config.sitesDir ?? '')
// Mosquitto drops what is published before anybody has subscribed.
const answering = (): boolean => port.health().brokers.every((b) => b.state === 'listening' || b.state === 'connected')
await until('every broker answers', answering, 45_000).catch((e: unknown) => {
  throw new Error(JSON.stringify(port.health().brokers), { cause: e })
})
console.log('ready')
