/** The fleets that can be simulated, and where their site files lie: one folder each, every `*.yaml` in it a site. */
import { fileURLToPath } from 'node:url'

export const FLEETS = ['demo', 'twelve'] as const
export type FleetName = (typeof FLEETS)[number]

/** Absolute folder of a fleet's site files. Throws on a name we do not have, saying which there are. */
export function fleetDir(name: string): string {
  if (!FLEETS.some((f) => f === name)) throw new Error(`"${name}" is no fleet we have: ${FLEETS.join(', ')}`)
  return fileURLToPath(new URL(`./${name}/`, import.meta.url))
}
