/** Every scenario on the reference loop: which way its signs go against a healthy twin, in which order, and that no look-alike passes for what it imitates. */
import { expect, test } from 'vitest'
import { SCENARIOS, type Scenario } from './scenarios.ts'
import { late, leaves, missed, trace, type Trace } from './traces.ts'

const traces = new Map<string, Trace>()
const traceOf = (s: Scenario): Trace => {
  const t = traces.get(s.id) ?? trace(s.run)
  traces.set(s.id, t)
  return t
}

/** What of a scenario a trace does not show: signs first, then the order. */
function unmet(s: Scenario, t: Trace): readonly string[] {
  const signs = s.signs.flatMap((e) => missed(t, e) ?? [])
  const times = s.order.map((of) => leaves(t, of))
  const order = times.flatMap((h, i) =>
    h === Number.POSITIVE_INFINITY
      ? [`${s.order[i]} never left its normal`]
      : i > 0 && h < (times[i - 1] ?? 0)
        ? [`${s.order[i]} at ${h} h came before ${s.order[i - 1]} at ${times[i - 1]} h`]
        : [],
  )
  return [...signs, ...order, ...(s.passings ?? []).flatMap((e) => late(t, e) ?? [])]
}

/** What of a scenario another trace contradicts: only what that trace is long enough to say. */
const contradicted = (s: Scenario, t: Trace): readonly string[] =>
  unmet({ ...s, signs: s.signs.filter((e) => e.after !== 'end' || t.endH !== null), passings: (s.passings ?? []).filter((e) => e.toH <= (t.hours.at(-1) ?? 0)) }, t).filter(
    (x) => !x.endsWith('no rows'),
  )

test.each(SCENARIOS.map((s) => [s.id, s.title, s] as const))('%s, %s: signs and order are those of the table', (_id, _title, s) => {
  expect(unmet(s, traceOf(s))).toEqual([])
})

const PAIRS = SCENARIOS.flatMap((s) => (s.imitates ?? []).map((id) => [s.id, id, s] as const))

test.each(PAIRS)('%s does not pass for %s', (_id, imitated, s) => {
  const fault = SCENARIOS.find((x) => x.id === imitated)
  if (!fault) throw new Error(`no scenario ${imitated}`)
  expect(contradicted(fault, traceOf(s)).length).toBeGreaterThan(0)
})

test('the table holds F1 to F12 and B1 to B8, and every look-alike imitates something', () => {
  const ids = new Set(SCENARIOS.map((s) => s.id))
  for (let i = 1; i <= 12; i++) expect(ids).toContain(`F${i}`)
  for (let i = 1; i <= 8; i++) expect(ids).toContain(`B${i}`)
  for (const s of SCENARIOS.filter((x) => x.id.startsWith('B'))) expect(s.imitates?.length ?? 0, s.id).toBeGreaterThan(0)
})
