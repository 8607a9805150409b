/** The label file says exactly what was wrong when: read back, it gives the state of every fault at any moment. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { strength, type Fault, type FaultKind } from '../../simulator/faults/fault.ts'
import { CAUSES, type Kind } from '../../simulator/faults/kind.ts'
import { KINDS } from '../../simulator/faults/kinds.ts'
import { readFaults } from '../../simulator/faults/list.ts'
import { labels } from '../../simulator/labels.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { past } from '../../simulator/fleets/past.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { MONDAY } from './reference-loop.ts'

const DAY = 86_400_000
const kinds = Object.keys(KINDS) as FaultKind[]

interface FaultLine {
  readonly label: string
  readonly site: string
  readonly id: string
  readonly kind: FaultKind
  readonly cause: string | null
  readonly what: string
  readonly onsetMs: number
  readonly endMs: number | null
  readonly size: number
  readonly rampMs: number
  readonly at: string | null
}

function written(list: readonly Fault[]): readonly FaultLine[] {
  const lines: string[] = []
  labels((line) => lines.push(line)).faults(list)
  return lines.map((l) => JSON.parse(l) as FaultLine)
}

/** How strong a fault is by its label alone: written down here a second time, from what the label says. */
function byLabel(l: FaultLine, atMs: number): number {
  if (atMs < l.onsetMs || (l.endMs !== null && l.endMs <= atMs)) return 0
  return l.rampMs === 0 ? l.size : l.size * Math.min(1, (atMs - l.onsetMs) / l.rampMs)
}

const aFault = fc.record({
  kind: fc.constantFrom(...kinds),
  site: fc.constantFrom('one', 'two'),
  onsetMs: fc.integer({ min: 0, max: 10 * DAY }),
  lastsMs: fc.option(fc.integer({ min: 1, max: 5 * DAY }), { nil: null }),
  size: fc.option(fc.double({ min: 0.1, max: 4, noNaN: true }), { nil: undefined }),
  rampMs: fc.option(fc.integer({ min: 0, max: DAY }), { nil: undefined }),
  at: fc.option(fc.constantFrom('tu', 'bio1', 'blower'), { nil: undefined }),
})

test('for any list of faults the labels give each fault’s strength at any moment, its place, cause and a sentence', () => {
  fc.assert(
    fc.property(fc.array(aFault, { maxLength: 12 }), fc.array(fc.integer({ min: -DAY, max: 16 * DAY }), { minLength: 1, maxLength: 20 }), (drawn, moments) => {
      const list = drawn.map(
        ({ lastsMs, size, rampMs, at, ...f }, i): Fault => ({
          ...f,
          id: `f${i}`,
          endMs: lastsMs === null ? null : f.onsetMs + lastsMs,
          ...(size !== undefined && { size }),
          ...(rampMs !== undefined && { rampMs }),
          ...(at !== undefined && { at }),
        }),
      )
      const read = written(list)
      expect(read.map((l) => l.id)).toEqual(list.map((f) => f.id))
      read.forEach((l, i) => {
        const f = list[i]
        if (!f) throw new Error('a label too many')
        expect([l.label, l.kind, l.site, l.at]).toEqual(['fault', f.kind, f.site, f.at ?? null])
        expect(l.what.length).toBeGreaterThan(15)
        expect(l.cause === null || CAUSES.some((c) => c === l.cause)).toBe(true)
        for (const t of [...moments, f.onsetMs, f.onsetMs - 1, ...(f.endMs === null ? [] : [f.endMs, f.endMs - 1])]) expect(byLabel(l, t)).toBeCloseTo(strength(f, t), 12)
      })
    }),
    { numRuns: 200 },
  )
})

test('every kind changes the plant or what is told of it: a kind that does nothing would be a label without a fault', () => {
  const spec = loadFleet('demo', 3).specs.find((s) => s.site.id === 'bramscar-slate-yard')
  if (!spec) throw new Error('no such loop')
  const told = (faults: readonly Fault[], hours: number): string => {
    const out: string[] = []
    const l = buildLoop(spec, faults, MONDAY, { tell: () => undefined })
    l.advance(MONDAY + hours * 3_600_000, (text) => out.push(text))
    const { plant } = l
    return JSON.stringify([out, plant.book, plant.water.bio.map((t) => [t.water, t.culture]), plant.troubles.linkDown, plant.troubles.rollHeld])
  }
  // A shut make-up valve shows when the finished water is down to where it should open.
  const hours = (kind: FaultKind): number => (kind === 'make-up-shut' ? 16 : 3.2)
  const sound = { 3.2: told([], 3.2), 16: told([], 16) }
  const size = (kind: FaultKind): object => (kind === 'leak' ? { size: 20 } : {})
  const idle = kinds.filter(
    (kind) => told([{ id: kind, kind, site: spec.site.id, onsetMs: MONDAY + 600_000, endMs: null, ...size(kind) }], hours(kind)) === sound[hours(kind) as 16],
  )
  expect(idle).toEqual([])
})

test('causes of faults, scenarios and variants: look-alikes have no cause but a link or the mains, faults of the library have one', () => {
  for (const [name, kind] of Object.entries(KINDS) as [string, Kind][]) {
    if (kind.scenario?.startsWith('F')) expect(kind.cause, name).not.toBeNull()
    if (kind.scenario?.startsWith('B')) expect([null, 'link', 'power', 'cold'], name).toContain(kind.cause)
  }
})

test('readings that were not what the water was are told once per stretch, with signal, time and what it was', () => {
  const lines: { readonly label: string; readonly signal: string; readonly what: string; readonly t: number }[] = []
  const l = labels((line) => lines.push(JSON.parse(line) as (typeof lines)[number]))
  for (const minute of [0, 1, 2, 3, 60, 61]) l.artefact('one', { signal: 'tu.do', what: 'stuck', atMs: minute * 60_000 })
  l.artefact('one', { signal: 'tu.do', what: 'wiper', atMs: 0 })
  expect(lines).toEqual([
    { label: 'reading', site: 'one', signal: 'tu.do', what: 'stuck', t: 0 },
    { label: 'reading', site: 'one', signal: 'tu.do', what: 'stuck', t: 3_600_000 },
    { label: 'reading', site: 'one', signal: 'tu.do', what: 'wiper', t: 0 },
  ])
})

test('ninety days of past hold a poisoned culture with two visits, a starved fortnight and a calibration, all over three days before the present', () => {
  for (const name of ['demo', 'twelve']) {
    const list = past(loadFleet(name, 1).specs, MONDAY, 90)
    const of = (kind: string) => list.filter((f) => f.kind === kind)
    expect([of('bleach').length, of('starvation').length, of('calibration').length, of('visit').length]).toEqual([1, 1, 1, 2])
    const starved = of('starvation')[0]
    expect((starved?.endMs ?? 0) - (starved?.onsetMs ?? 0)).toBe(14 * DAY)
    for (const f of list) {
      expect(f.onsetMs).toBeGreaterThan(MONDAY - 90 * DAY)
      expect(f.endMs).toBeLessThan(MONDAY - 3 * DAY)
    }
  }
  expect(past(loadFleet('demo', 1).specs, MONDAY, 7)).toEqual([])
})

test.each([
  ['nonsense', /not readable as JSON/],
  ['{}', /a list/],
  ['[{"id":"a","kind":"sunshine","site":"one","onsetMs":1}]', /fault 1: "kind" is "sunshine": one of blower-trip,/],
  ['[{"id":"a","kind":"storm","site":"mars","onsetMs":1}]', /fault 1: "site" is "mars": one of one is needed/],
  ['[{"id":"a","kind":"storm","site":"one","onsetMs":5,"endMs":5}]', /"endMs" is 5: null or a time after "onsetMs"/],
  ['[{"id":"a","kind":"storm","site":"one","onsetMs":5},{"id":"a","kind":"storm","site":"one","onsetMs":5}]', /fault 2: "id" is "a"/],
  ['[{"id":"a","kind":"storm","site":"one","onsetMs":5,"onset":5}]', /fault 1: "onset" is not known/],
] as const)('a fault list %s is refused with what is wrong', (json, message) => {
  expect(readFaults(json, ['one'])).toMatch(message)
})

test('a fault list that is right is taken as it is', () => {
  expect(readFaults('[{"id":"a","kind":"storm","site":"one","onsetMs":5,"size":2,"rampMs":10,"at":"pad"}]', ['one'])).toEqual([
    { id: 'a', kind: 'storm', site: 'one', onsetMs: 5, endMs: null, size: 2, rampMs: 10, at: 'pad' },
  ])
})
