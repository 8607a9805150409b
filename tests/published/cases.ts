/** Every published check there is: the one table that `npm run published` prints and the tests go through. A further subject adds its array here. */
import { biologyCases } from './biology-cases.ts'
import { chemistryCases } from './chemistry-cases.ts'
import { machineCases } from './machine-cases.ts'
import { oxygenCases } from './oxygen-cases.ts'
import { packagesCases } from './packages-cases.ts'
import { simulatorCases } from './simulator-cases.ts'
import { statisticsCases } from './statistics-cases.ts'
import type { PublishedCase } from './table.ts'

export const CASES: readonly PublishedCase[] = [...oxygenCases, ...chemistryCases, ...machineCases, ...biologyCases, ...simulatorCases, ...statisticsCases, ...packagesCases]
