/** Are two pieces of plain data the same, whatever the order of their fields? What is undefined is as if it were not there. */
export function same(a: unknown, b: unknown): boolean {
  if (Object.is(a, b)) return true
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null || Array.isArray(a) !== Array.isArray(b)) return false
  const fields = new Map<string, unknown>(Object.entries(b).filter(([, v]) => v !== undefined))
  const mine = Object.entries(a).filter(([, v]) => v !== undefined)
  return mine.length === fields.size && mine.every(([name, v]) => fields.has(name) && same(v, fields.get(name)))
}
