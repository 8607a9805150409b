/** A fleet as the simulator needs it: the sites of its folder, the facts of their yards, and what is going to happen. */
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'
import type { PlantSpec, YardFacts } from '../process/spec.ts'
import { demoPlan } from './demo/plan.ts'
import { demoYards } from './demo/yards.ts'
import { fleetDir, type FleetName } from './fleets.ts'
import type { Planned } from './plan.ts'

const YARDS: Readonly<Record<FleetName, Readonly<Record<string, YardFacts>>>> = { demo: demoYards }
const PLANS: Readonly<Record<FleetName, readonly Planned[]>> = { demo: demoPlan }

export interface Fleet {
  readonly specs: readonly PlantSpec[]
  readonly plan: readonly Planned[]
}

/** Reads a fleet; throws with file, line and what is wrong when a site file cannot be read or a yard is missing. */
export function loadFleet(name: string, seed: number): Fleet {
  const dir = fleetDir(name)
  const fleet = name as FleetName
  const specs = readdirSync(dir)
    .filter((f) => f.endsWith('.yaml'))
    .sort()
    .map((file): PlantSpec => {
      const read = readSiteFile(file, readFileSync(join(dir, file), 'utf8'))
      if (!read.ok) throw new Error(read.faults.map(faultText).join('\n'))
      const facts = YARDS[fleet][read.site.id]
      if (!facts) throw new Error(`${file}: "${read.site.id}" has no yard facts: add it to simulator/fleets/${name}/yards.ts`)
      return { site: read.site, facts, seed }
    })
  return { specs, plan: PLANS[fleet] }
}
