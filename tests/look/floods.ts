/** A stormy night: seven loops silent at once, and one loop with more than anybody reads. */
import { watchFloods } from '../../gateway/alarms/flood.ts'
import { floodsBodyOf } from '../../server/bodies/overlay.ts'
import type { FloodsBody } from '../../server/wire.ts'
import type { Loop } from './yards.ts'

export function fakeFloods(loops: readonly Loop[], nowMs: number): FloodsBody {
  const watch = watchFloods()
  loops.slice(20, 27).forEach((l, i) => watch.announced(`${l.site.id}/site.silent`, nowMs - 480_000 + i * 20_000))
  const worst = loops[0]
  if (worst) [...worst.alarms.keys()].slice(0, 12).forEach((id, i) => watch.announced(id, nowMs - 300_000 + i * 5000))
  const find = (site: string): Loop | null => loops.find((l) => l.site.id === site) ?? null
  return floodsBodyOf({ site: find, alarmsOf: (site) => [...(find(site)?.alarms.values() ?? [])] }, watch.now(nowMs))
}
