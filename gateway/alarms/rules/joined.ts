/**
 * Conditions joined. all-of asks that each was violated lately, not at the same instant: redox steps first, oxygen follows half an hour later.
 */
import type { ConditionOf } from '../rule.ts'
import { firstToExpire, reading, type ReadyCondition, type Verdict } from './ready.ts'

type Parts = readonly ReadyCondition[]

function taking(parts: Parts): ReadyCondition['take'] {
  const readers = parts.filter((p) => p.take !== undefined)
  if (readers.length === 0) return undefined
  return (m, atMs) => {
    for (const r of readers) if (r.reads.includes(m)) r.take?.(m, atMs)
  }
}

const memories = (parts: Parts): Pick<ReadyCondition, 'reads' | 'learned'> => ({
  reads: reading(...parts.flatMap((p) => p.reads)),
  learned: parts.flatMap((p) => p.learned ?? []),
})

export function allOfCondition(c: ConditionOf<'all-of'>, parts: Parts): ReadyCondition {
  const violatedMs = new Float64Array(parts.length).fill(Number.NEGATIVE_INFINITY)
  const take = taking(parts)
  return {
    ...memories(parts),
    learned: [
      ...parts.flatMap((p) => p.learned ?? []),
      {
        shape: `${c.of.map((x) => x.kind).join(' ')} within ${c.withinMs}`,
        keep: () => [Array.from(violatedMs, (at) => (Number.isFinite(at) ? at : -1))],
        resume([kept]) {
          if (kept?.length === parts.length) kept.forEach((at, i) => (violatedMs[i] = at < 0 ? Number.NEGATIVE_INFINITY : at))
        },
        forget() {
          violatedMs.fill(Number.NEGATIVE_INFINITY)
        },
      },
    ],
    ...(take && { take }),
    unit: '1',
    limit: parts.length,
    judge: (atMs) => {
      let all = true
      let unknown = false
      let clear = false
      for (let i = 0; i < parts.length; i++) {
        const v: Verdict = (parts[i] as ReadyCondition).judge(atMs)
        if (v === 'violated') violatedMs[i] = atMs
        if (atMs - (violatedMs[i] as number) <= c.withinMs) continue
        all = false
        if (v === 'unknown') unknown = true
        if (v === 'cleared') clear = true
      }
      return all ? 'violated' : clear ? 'cleared' : unknown ? 'unknown' : 'inside'
    },
    restsOn: () => firstToExpire(parts.map((p) => p.restsOn()).filter((m) => m !== null)),
    value: () => null,
  }
}

export function anyOfCondition(_: ConditionOf<'any-of'>, parts: Parts): ReadyCondition {
  const take = taking(parts)
  let first: ReadyCondition | null = null
  return {
    ...memories(parts),
    ...(take && { take }),
    unit: '1',
    limit: null,
    judge: (atMs) => {
      let inside = false
      let judged = false
      for (const p of parts) {
        const v = p.judge(atMs)
        if (v === 'violated') {
          first = p
          return 'violated'
        }
        if (v === 'unknown') continue
        judged = true
        if (v === 'inside') inside = true
      }
      first = null
      return !judged ? 'unknown' : inside ? 'inside' : 'cleared'
    },
    restsOn: () => first?.restsOn() ?? parts.find((p) => p.restsOn() !== null)?.restsOn() ?? null,
    value: () => first?.value() ?? null,
  }
}
