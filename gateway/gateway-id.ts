/** What tells gateways apart that share a broker: made once, kept in the data folder. */
import { randomBytes } from 'node:crypto'
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'

/** Eight letters and digits. A broker keeps what waits for us under it, so it must be the same after every start. */
export function gatewayId(dataDir: string): string {
  const file = join(dataDir, 'gateway-id')
  const kept = existsSync(file) ? readFileSync(file, 'utf8').trim() : ''
  if (/^[a-z0-9]{8}$/.test(kept)) return kept
  const made = randomBytes(4).toString('hex')
  writeFileSync(file, `${made}\n`)
  return made
}
