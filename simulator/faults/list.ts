/** A list of faults as somebody wrote it, checked before anything runs. */
import type { Fault, FaultKind } from './fault.ts'
import { KINDS } from './kinds.ts'

const MEMBERS = ['id', 'kind', 'site', 'onsetMs', 'endMs', 'size', 'rampMs', 'at']

/** The faults, or a sentence with the number of the entry, what was found and what is needed. `sites`: those of the fleet. */
export function readFaults(json: string, sites: readonly string[]): readonly Fault[] | string {
  let read: unknown
  try {
    read = JSON.parse(json)
  } catch (e) {
    return `not readable as JSON: ${e instanceof Error ? e.message : String(e)}`
  }
  if (!Array.isArray(read)) return 'a list [...] of faults is needed'
  const out: Fault[] = []
  for (const [i, x] of read.entries()) {
    const n = `fault ${i + 1}`
    if (typeof x !== 'object' || x === null) return `${n}: an object is needed`
    const o = x as Record<string, unknown>
    const odd = Object.keys(o).find((k) => !MEMBERS.includes(k))
    if (odd !== undefined) return `${n}: "${odd}" is not known; there are ${MEMBERS.join(', ')}`
    const { id, kind, site, onsetMs, endMs, size, rampMs, at } = o
    if (typeof id !== 'string' || id === '' || out.some((f) => f.id === id)) return `${n}: "id" is ${JSON.stringify(id)}: a text that no other fault has is needed`
    if (typeof kind !== 'string' || !Object.hasOwn(KINDS, kind)) return `${n}: "kind" is ${JSON.stringify(kind)}: one of ${Object.keys(KINDS).join(', ')} is needed`
    if (typeof site !== 'string' || !sites.includes(site)) return `${n}: "site" is ${JSON.stringify(site)}: one of ${sites.join(', ')} is needed`
    if (typeof onsetMs !== 'number' || !Number.isFinite(onsetMs)) return `${n}: "onsetMs" is ${JSON.stringify(onsetMs)}: ms since 1970 UTC are needed`
    if (endMs !== null && endMs !== undefined && !(typeof endMs === 'number' && endMs > onsetMs))
      return `${n}: "endMs" is ${JSON.stringify(endMs)}: null or a time after "onsetMs" is needed`
    if (size !== undefined && !(typeof size === 'number' && Number.isFinite(size) && size !== 0)) return `${n}: "size" is ${JSON.stringify(size)}: a number other than 0 is needed`
    if (rampMs !== undefined && !(typeof rampMs === 'number' && rampMs >= 0)) return `${n}: "rampMs" is ${JSON.stringify(rampMs)}: a number from 0 on is needed`
    if (at !== undefined && typeof at !== 'string') return `${n}: "at" is ${JSON.stringify(at)}: the id of a stage, machine or signal is needed`
    out.push({
      id,
      kind: kind as FaultKind,
      site,
      onsetMs,
      endMs: typeof endMs === 'number' ? endMs : null,
      ...(size !== undefined && { size }),
      ...(rampMs !== undefined && { rampMs }),
      ...(at !== undefined && { at }),
    })
  }
  return out
}
