/** A fleet as the simulator needs it: the sites of its folder, the facts of their yards, and what is going to happen. */
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'
import type { PlantSpec, YardFacts } from '../process/spec.ts'
import { demoPlan } from './demo/plan.ts'
import { demoYards } from './demo/yards.ts'
import { fleetDir, type FleetName } from './fleets.ts'
import { generate } from './generate.ts'
import type { Planned } from './plan.ts'
import { twelvePlan } from './twelve/plan.ts'
import { twelveYards } from './twelve/yards.ts'

const YARDS: Readonly<Record<FleetName, Readonly<Record<string, YardFacts>>>> = { demo: demoYards, twelve: twelveYards }
const PLANS: Readonly<Record<FleetName, readonly Planned[]>> = { demo: demoPlan, twelve: twelvePlan }

export interface Fleet {
  readonly specs: readonly PlantSpec[]
  readonly plan: readonly Planned[]
  /** Site files by name, for a gateway that has to know the loops. */
  readonly files: ReadonlyMap<string, string>
}

/** A fleet made of as many loops as asked; nothing is planned for it. */
export function generatedFleet(loops: number, seed: number): Fleet {
  const all = generate(loops, seed)
  return { specs: all.map((x) => x.spec), plan: [], files: new Map(all.map((x) => [x.file, x.text])) }
}

/** Reads a fleet; throws with file, line and what is wrong when a site file cannot be read or a yard is missing. */
export function loadFleet(name: string, seed: number): Fleet {
  const dir = fleetDir(name)
  const fleet = name as FleetName
  const files = new Map<string, string>()
  const specs = readdirSync(dir)
    .filter((f) => f.endsWith('.yaml'))
    .sort()
    .map((file): PlantSpec => {
      const text = readFileSync(join(dir, file), 'utf8')
      files.set(file, text)
      const read = readSiteFile(file, text)
      if (!read.ok) throw new Error(read.faults.map(faultText).join('\n'))
      const facts = YARDS[fleet][read.site.id]
      if (!facts) throw new Error(`${file}: "${read.site.id}" has no yard facts: add it to simulator/fleets/${name}/yards.ts`)
      return { site: read.site, facts, seed }
    })
  return { specs, plan: PLANS[fleet], files }
}
