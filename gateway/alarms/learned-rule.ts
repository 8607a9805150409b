/**
 * Does a rule compare with what this loop has learned of itself? Told by its data alone. A rule that has a fixed figure until enough has
 * been learned (the longest normal pulse of a pump) is no such rule: it must speak from the first day.
 */
interface Shape {
  readonly kind: string
  readonly from?: unknown
  readonly of?: unknown
}

const ALWAYS: ReadonlySet<string> = new Set(['drift', 'forecast', 'no-response', 'per-run', 'day-total'])

export function isLearned(rule: Shape): boolean {
  if (ALWAYS.has(rule.kind)) return true
  if (rule.kind === 'deviation') return kindOf(rule.from) === 'median'
  const parts = Array.isArray(rule.of) ? rule.of.filter(isShape) : []
  if (rule.kind === 'all-of') return parts.some(isLearned)
  return rule.kind === 'any-of' && parts.length > 0 && parts.every(isLearned)
}

const isShape = (v: unknown): v is Shape => typeof v === 'object' && v !== null && 'kind' in v && typeof v.kind === 'string'
const kindOf = (v: unknown): string | null => (isShape(v) ? v.kind : null)
