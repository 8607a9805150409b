/** What happens to the twelve in the first hours: an air loss, an acid relay, an airlock, a dead link, and four that only look like trouble. */
import type { Planned } from '../plan.ts'

export const twelvePlan: readonly Planned[] = [
  { site: 'birkwater-bus-south', kind: 'rush', fromMin: -30, toMin: 120, size: 0.8 },
  { site: 'birkwater-bus-south', kind: 'air-line-off', fromMin: 4, toMin: null },
  { site: 'mossgill-slate-works', kind: 'dose-stuck', fromMin: 15, toMin: null },
  { site: 'larkspit-container-park', kind: 'rush', fromMin: -20, toMin: 120, size: 1 },
  { site: 'larkspit-container-park', kind: 'transfer-airlock', fromMin: 8, toMin: null, rampMin: 1 },
  { site: 'kestermoor-timber-haulage', kind: 'link-out', fromMin: 12, toMin: 250 },
  { site: 'garrowby-refuse-depot', kind: 'heavy-day', fromMin: -60, toMin: 120, size: 1 },
  { site: 'cobblesett-tram-yard', kind: 'new-probe', fromMin: 30, toMin: null },
  { site: 'dravenhope-dairy', kind: 'nightly-air-off', fromMin: -1440, toMin: null },
  { site: 'aldmarsh-ferry-slip', kind: 'power-cut', fromMin: 25, toMin: 31 },
]
