/** Where things are measured on a loop: which signal is the wash meter, which proves the air of a tank, which temperature is that of its water. */
import type { Quantity } from '../site/quantity.ts'
import type { Equipment, Signal, Site, Stage } from '../site/site.ts'

export const at = (site: Site, place: string, quantity: Quantity): Signal | null => site.signals.find((s) => s.at === place && s.quantity === quantity) ?? null

export const biology = (site: Site): readonly Stage[] => site.stages.filter((s) => s.kind === 'treatment' || s.kind === 'bio')
export const stageOf = (site: Site, kind: Stage['kind']): Stage | null => site.stages.find((s) => s.kind === kind) ?? null
export const machinesOf = (site: Site, kind: Equipment['kind']): readonly Equipment[] => site.equipment.filter((e) => e.kind === kind)
export const aeratorsOf = (site: Site, stage: string): readonly Equipment[] => site.equipment.filter((e) => e.kind === 'aerator' && e.serves.includes(stage))

/** Temperature of the water of a tank: its own, or that of another tank with biology, which differs by a degree or two. */
export function temperatureOf(site: Site, stage: string): { readonly signal: Signal; readonly own: boolean } | null {
  const own = at(site, stage, 'temperature')
  if (own) return { signal: own, own: true }
  for (const s of biology(site)) {
    const other = at(site, s.id, 'temperature')
    if (other) return { signal: other, own: false }
  }
  return null
}

const isMakeUp = (s: Signal): boolean => /make-?_?up/i.test(`${s.id} ${s.name}`)

/** A meter that adds up, before one that tells a flow. */
export function makeUpMeter(site: Site): Signal | null {
  const found = site.signals.filter(isMakeUp)
  return found.find((s) => s.quantity === 'volume') ?? found.find((s) => s.quantity === 'flow') ?? null
}

export const makeUpConductivity = (site: Site): Signal | null => site.signals.find((s) => s.quantity === 'conductivity' && isMakeUp(s)) ?? null
export const loopConductivity = (site: Site): Signal | null =>
  site.signals.find((s) => s.quantity === 'conductivity' && !isMakeUp(s) && site.stages.some((t) => t.id === s.at && ['treatment', 'bio', 'finished'].includes(t.kind))) ?? null

/** Places a washer's signals may stand at: the machine, or the stage. */
const washerPlaces = (site: Site): readonly string[] => [...machinesOf(site, 'washer').map((e) => e.id), ...site.stages.filter((s) => s.kind === 'washer').map((s) => s.id)]
export const washerSignal = (site: Site, quantity: Quantity): Signal | null => {
  for (const place of washerPlaces(site)) {
    const s = at(site, place, quantity)
    if (s) return s
  }
  return null
}

/** Runs of machines that move water through the train. */
export const transferRuns = (site: Site): readonly Signal[] => machinesOf(site, 'pump').flatMap((e) => at(site, e.id, 'run') ?? [])

export const lanceOf = (site: Site): number | null => stageOf(site, 'washer')?.lanceLPerMin ?? null

/** What a tank can hold per cent of its level signal, L; null: not in the site file. */
export const levelOf = (site: Site, stage: Stage): Signal | null => {
  const s = at(site, stage.id, 'level')
  return s && s.unit === '%' ? s : null
}

/** "the treatment unit", "bio tank 1": how a stage stands in a sentence. */
export const theStage = (s: Stage): string => {
  const name = s.name.slice(0, 1).toLowerCase() + s.name.slice(1)
  return /\d$/.test(name) ? name : `the ${name}`
}
