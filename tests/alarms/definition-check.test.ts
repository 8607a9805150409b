import { expect, test } from 'vitest'
import type { AlarmDef } from '../../gateway/alarms/alarm.ts'
import { definitionsOf, type Layers } from '../../gateway/alarms/changes.ts'
import { createDefinitionCheck } from '../../gateway/definition-check.ts'
import type { Site } from '../../gateway/site/site.ts'
import { handClock, loop, loopWith, SITE } from './yard.ts'

const DAY_MS = 86_400_000
const none: Layers = new Map()
const PH = `${SITE}/tu.ph.high`

function bench(live: () => readonly AlarmDef[], read: () => Site | null = () => loop(), layers: () => Layers = () => none) {
  const clock = handClock()
  const check = createDefinitionCheck({ clock, sites: () => [SITE], read, layers: async () => layers(), live })
  return {
    check,
    async pass(ms: number) {
      for (let t = 0; t < ms; t += 5000) {
        clock.advance(5000)
        await check.tick()
      }
    },
    counter: (name: string) => check.counters().find((c) => c.name === name)?.value,
    clock,
  }
}

const { defs } = definitionsOf(loop(), none)

test('ALM-62 alarms at work that are what default, site file and changes say: nothing to tell', async () => {
  const b = bench(() => defs)
  await b.pass(120_000)
  expect(b.check.troubles()).toEqual([])
  expect(b.counter('alarmLoopsCompared')).toBe(1)
})

test('ALM-62 an alarm at work with another limit, one too many and one missing are each told by name', async () => {
  const other = defs.map((d) => (d.id === PH && d.rule.kind === 'limit' ? { ...d, rule: { ...d.rule, limit: 9.6 } } : d))
  const b = bench(() => [...other.slice(0, 3), ...other.slice(4), { ...(defs[0] as AlarmDef), id: `${SITE}/stray` }])
  await b.pass(120_000)
  expect(b.counter('alarmsDiffering')).toBe(3)
  expect(b.check.troubles()).toEqual([expect.stringContaining(`3 alarms of ${SITE} are not watched as`)])
  for (const id of [PH, defs[3]?.id ?? '', `${SITE}/stray`]) expect(b.check.troubles()[0]).toContain(id)
})

test('ALM-62 a change in the database that is not at work is told, and a site file read anew as well', async () => {
  const change: Layers = new Map([[PH, { id: 1, by: 'A. Reyes', atMs: 0, reason: 'r', after: { limit: 9.4 } }]])
  const a = bench(
    () => defs,
    undefined,
    () => change,
  )
  await a.pass(120_000)
  expect(a.check.troubles()[0]).toContain(PH)
  const b = bench(
    () => defs,
    () => loopWith('  tu.do.low: { limit: 1.1, why: "x" }\n'),
  )
  await b.pass(120_000)
  expect(b.check.troubles()[0]).toContain(`${SITE}/tu.do.low`)
})

test('a file that is just being changed is looked at again before anything is told, and one that cannot be read is left to others to tell', async () => {
  let at: readonly AlarmDef[] = defs
  const changed = loopWith('  tu.do.low: { limit: 1.1, why: "x" }\n')
  const b = bench(
    () => at,
    () => changed,
  )
  await b.pass(65_000)
  at = definitionsOf(changed, none).defs
  await b.pass(60_000)
  expect(b.check.troubles()).toEqual([])
  const c = bench(
    () => [],
    () => null,
  )
  await c.pass(120_000)
  expect(c.check.troubles()).toEqual([])
})

test('the comparison is made once a day, and what has been put right is no longer told', async () => {
  let at: readonly AlarmDef[] = defs.slice(1)
  const b = bench(() => at)
  await b.pass(120_000)
  expect(b.check.troubles()).toHaveLength(1)
  at = defs
  await b.pass(600_000)
  expect(b.check.troubles(), 'not looked at again yet').toHaveLength(1)
  b.clock.advance(DAY_MS)
  await b.pass(120_000)
  expect(b.check.troubles()).toEqual([])
})
