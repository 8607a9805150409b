/** What comes next on a loop: limits, stocks and services, the soonest first; what cannot be told last, with its reason. */
import { acidity } from './acidity.ts'
import { comingDays } from './days.ts'
import type { Expected } from './expected.ts'
import { levels } from './levels.ts'
import { services } from './services.ts'
import { stocks } from './stocks.ts'
import type { StoredLoop } from './stored.ts'
import { washedOf } from './washed.ts'

/** So far ahead stocks and services are looked. */
export const AHEAD_DAYS = 120

export function forecasts(s: StoredLoop): readonly Expected[] {
  const coming = comingDays(s.site, s.nowMs, AHEAD_DAYS)
  const washed = washedOf(s)
  return [...levels(s), ...acidity(s, washed?.hourL ?? null), ...stocks(s, washed, coming), ...services(s, coming)].toSorted((a, b) => order(a) - order(b))
}

function order({ outlook: o }: Expected): number {
  if (o.kind === 'reached') return 0
  if (o.kind === 'forecast') return o.medianMs
  return o.kind === 'beyond' ? 1e15 : 1e16
}
