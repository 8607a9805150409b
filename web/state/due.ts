/** How a due list is said: when, in which group, and what the button that settles it writes. */
import type { DueBody, DueItemBody } from '../../server/wire.ts'
import { age, dayOfYear } from '../words/times.ts'

export type DueItem = DueItemBody
export type Protection = DueBody['protections'][number]

const DAY_MS = 86_400_000

export type DueGroup = 'overdue' | 'unknown' | 'coming'

export const groupOf = (d: Pick<DueItem, 'dueMs'>, nowMs: number): DueGroup => (d.dueMs === null ? 'unknown' : d.dueMs <= nowMs ? 'overdue' : 'coming')

/** "overdue 3 d", "not known", "12 Dec". */
export function saidDue(d: Pick<DueItem, 'dueMs'>, zone: string, nowMs: number): string {
  if (d.dueMs === null) return 'not known'
  const late = nowMs - d.dueMs
  if (late >= DAY_MS) return `overdue ${age(late)}`
  return late >= 0 ? 'now' : dayOfYear(d.dueMs, zone, nowMs)
}

const KIND: Readonly<Record<DueItem['kind'], string>> = {
  stock: 'Stock',
  service: 'Service',
  probe: 'Probe',
  protection: 'Proof',
  kit: 'Kit',
  condition: 'Look',
  review: 'Review',
}
export const kindWord = (d: DueItem): string => KIND[d.kind]

/** "3 overdue, 5 not known, 4 to come"; empty: "nothing is due". */
export function tally(items: readonly Pick<DueItem, 'dueMs'>[], nowMs: number): string {
  const count = (g: DueGroup): number => items.filter((d) => groupOf(d, nowMs) === g).length
  const parts = [
    [count('overdue'), 'overdue'],
    [count('unknown'), 'never written down'],
    [count('coming'), 'to come'],
  ] as const
  return (
    parts
      .filter(([n]) => n > 0)
      .map(([n, word]) => `${n} ${word}`)
      .join(', ') || 'nothing is due'
  )
}

/** Fitted and proved, fitted and overdue or never proved, or not there: what stands in the register, and whether it is a matter. */
export function saidProtection(p: Protection, zone: string, nowMs: number): { readonly words: string; readonly matter: boolean } {
  if (p.fitted === 'no') return { words: 'not fitted', matter: true }
  if (p.fitted === 'unknown') return { words: 'not in the site file', matter: true }
  if (p.provedMs === null) return { words: 'never proved', matter: true }
  const late = p.dueMs !== null && p.dueMs <= nowMs
  return { words: `proved ${dayOfYear(p.provedMs, zone, nowMs)}${late ? ', due again' : ''}`, matter: late }
}
