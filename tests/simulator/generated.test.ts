/** Fleets of twelve and of any size: every file readable, every signal alive, levels in their shares, and the same loop from the same seed. */
import { expect, test } from 'vitest'
import { generate } from '../../simulator/fleets/generate.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { onClock } from '../../simulator/fleets/plan.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { readOptions } from '../../simulator/options.ts'
import { unanswered } from '../../simulator/truth.ts'
import { MONDAY } from './reference-loop.ts'

const HOUR = 3_600_000
const levels = (list: readonly { readonly site: { readonly instrumentation: string } }[]): readonly number[] =>
  ['poor', 'normal', 'rich'].map((l) => list.filter((s) => s.site.instrumentation === l).length)

test('the twelve are three poor with 9 signals, seven normal with 22 and two rich with about 40, in several trains, zones and climates', () => {
  const { specs, plan } = loadFleet('twelve', 1)
  expect(levels(specs)).toEqual([3, 7, 2])
  for (const s of specs) {
    const { signals, instrumentation, id } = s.site
    if (instrumentation === 'rich') {
      expect(signals.length, id).toBeGreaterThanOrEqual(38)
      expect(signals.length, id).toBeLessThanOrEqual(42)
    } else expect(signals.length, id).toBe(instrumentation === 'poor' ? 9 : 22)
    expect(unanswered(s.site), id).toEqual([])
    expect(s.site.yardPhone).toMatch(/555-01\d\d/)
  }
  expect(new Set(specs.map((s) => s.site.stages.filter((x) => x.kind === 'bio').length)).size).toBe(4)
  expect(new Set(specs.map((s) => s.site.zone)).size).toBeGreaterThanOrEqual(10)
  expect(new Set(specs.map((s) => s.facts.climate)).size).toBeGreaterThanOrEqual(6)
  for (const f of onClock(plan, MONDAY)) expect(specs.map((s) => s.site.id)).toContain(f.site)
})

test('the twelve look lived-in after two days: oxygen in the treatment unit, pH and finished water where a sound loop has them', () => {
  for (const spec of loadFleet('twelve', 1).specs) {
    const { plant } = (() => {
      const loop = buildLoop(spec, [], MONDAY)
      loop.advance(MONDAY + 2 * 24 * HOUR, null)
      return loop
    })()
    const tu = plant.water.bio[0]
    const id = spec.site.id
    expect(tu?.oxygen, id).toBeGreaterThan(1.5)
    expect(tu?.ph, id).toBeGreaterThan(6.5)
    expect(tu?.ph, id).toBeLessThan(8.6)
    expect((100 * plant.water.finished.water.litres) / plant.water.finished.volumeL, id).toBeGreaterThan(25)
    expect(plant.book.washedL, id).toBeGreaterThan(1000)
    expect(plant.book.outL.overflow, id).toBeLessThan(4000)
  }
})

test('two hundred generated loops are all readable and alive, ids differ, three in ten are poor and three in twenty rich', () => {
  const all = generate(200, 4)
  expect(new Set(all.map((x) => x.spec.site.id)).size).toBe(200)
  expect(levels(all.map((x) => x.spec))).toEqual([60, 110, 30])
  for (const x of all) {
    expect(unanswered(x.spec.site), x.file).toEqual([])
    expect(x.spec.site.id.length).toBeLessThanOrEqual(63)
  }
})

test('loop seven of a seed is the same in a fleet of ten and of fifty, and another in another seed', () => {
  const seventh = (loops: number, seed: number): string => generate(loops, seed)[6]?.text ?? ''
  expect(seventh(10, 1)).toBe(seventh(50, 1))
  expect(seventh(10, 2)).not.toBe(seventh(10, 1))
  expect(() => generate(0, 1)).toThrow(/0 loops: a whole number from 1 to 5000/)
})

test.each([
  [['--spede', '2'], /--spede/],
  [['--loops', '5'], /--loops 5: only the generated fleet has a size/],
  [['--fill-days', '91'], /--fill-days 91: a number from 0 to 90 is needed/],
  [['--fill-days', '2', '--fill-hours', '2'], /give one of them/],
  [['--speed', 'max'], /--speed max: add --behind-hours/],
  [['--biology', 'none'], /--biology none: one of working, asm1 is needed/],
  [['--shared-user', 'x'], /one needs the other/],
  [['--broker', 'mqtt://::1:1883'], /--broker mqtt:\/\/::1:1883: .*an IPv6 address in brackets as in mqtt:\/\/\[::1\]:1883/],
  [['--broker', 'mqtt://a', '--url', 'mqtt://b'], /--broker and --url: give one of them/],
] as const)('told %j it answers what is wrong', (args, message) => {
  const asked = readOptions(args)
  expect(asked.kind === 'wrong' ? asked.message : asked.kind).toMatch(message)
})

test('what it is told is taken: days, speed, fleet, biology', () => {
  const asked = readOptions([
    '--fleet',
    'generated',
    '--loops',
    '40',
    '--fill-days',
    '90',
    '--speed',
    'max',
    '--behind-hours',
    '6',
    '--biology',
    'asm1',
    '--instruments',
    'plain',
    '--no-plan',
  ])
  expect(asked.kind === 'run' && asked.options).toMatchObject({
    fleet: 'generated',
    loops: 40,
    fillHours: 2160,
    speed: Number.POSITIVE_INFINITY,
    behindHours: 6,
    biology: 'asm1',
    field: false,
    plan: false,
  })
  expect(readOptions(['--help']).kind).toBe('help')
  for (const url of ['mqtt://[::1]:1883', 'mqtts://broker.example:8883', 'mqtt://10.0.0.7']) {
    const told = readOptions(['--broker', url])
    expect(told.kind === 'run' && told.options.url).toBe(url)
  }
})
