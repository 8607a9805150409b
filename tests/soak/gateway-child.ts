/** The gateway alone, as a process that can be killed: flags as for the product, site files in --sites. Says "ready" when it takes messages. */
import { readConfig } from '../../gateway/config.ts'
import { startGateway, systemClock } from '../../gateway/main.ts'

const settings = readConfig(process.argv.slice(2), {})
if (!settings.ok) throw new Error(settings.message)
await startGateway(settings.config, systemClock, settings.config.sitesDir ?? '')
console.log('ready')
