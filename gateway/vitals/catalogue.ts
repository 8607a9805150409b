/** Every vital a loop has or could have, found from its train and its signals; those it cannot tell say why and what would unlock them. */
import type { Site } from '../site/site.ts'
import { acidVitals } from './acid-vitals.ts'
import { oxygenOf, oxygenVitals } from './oxygen-vitals.ts'
import { biology } from './places.ts'
import { tankVitals } from './tank-vitals.ts'
import { testVitals } from './test-vitals.ts'
import { useVitals } from './use-vitals.ts'
import type { Vital, VitalDef } from './vital.ts'
import { washVitals } from './wash-vitals.ts'
import { waterVitals } from './water-vitals.ts'
import { createWorks, type Works } from './works.ts'

/** In the order a page shows them: biology tank by tank, then water, then machines. */
export function vitalsIn(w: Works): readonly Vital[] {
  const tanks = biology(w.site).flatMap((stage) => {
    const o = oxygenOf(w, stage)
    return [...oxygenVitals(w, stage, o), ...testVitals(w, stage, o), ...washVitals(w, stage, o)]
  })
  return [...tanks, ...acidVitals(w), ...tankVitals(w), ...waterVitals(w), ...useVitals(w)]
}

export const vitalsOf = (site: Site): readonly VitalDef[] => vitalsIn(createWorks(site, null)).map((v) => v.def)
