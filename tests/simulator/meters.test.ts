/** Counters of an older stretch of history arrive where the newer one begins; everything else goes its way at once. */
import { expect, test } from 'vitest'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { meters } from '../../simulator/meters.ts'

const read = readSiteFile(
  'a.yaml',
  'id: a\nname: A\nzone: Europe/Lisbon\ntrain: [{ stage: sump }, { stage: treatment }, { stage: washer }]\nsignals:\n  tu.do:\n  hp.hours: { resolution: 0.1 }\n  hp.volume: { resolution: 10, in: sump }\n',
)
if (!read.ok) throw new Error(JSON.stringify(read.faults))
const { site } = read

test('counters are held back and moved so that they meet the newer stretch; a gap in them stays a gap', () => {
  const m = meters(site)
  const rest = m.hold('{"names":["tu.do","hp.hours","hp.volume"],"rows":[[1000,6.1,100.2,5000],[2000,6.2,100.4,null],[3000,6.3,100.9,5030]]}')
  expect(JSON.parse(rest ?? '')).toEqual({
    names: ['tu.do'],
    rows: [
      [1000, 6.1],
      [2000, 6.2],
      [3000, 6.3],
    ],
  })
  const told = m
    .release(
      new Map([
        ['hp.hours', 2160],
        ['hp.volume', 700_030],
      ]),
    )
    .map((p) => JSON.parse(p) as unknown)
  expect(told).toEqual([
    {
      names: ['hp.hours'],
      rows: [
        [1000, 2159.3],
        [2000, 2159.5],
        [3000, 2160],
      ],
    },
    {
      names: ['hp.volume'],
      rows: [
        [1000, 700_000],
        [3000, 700_030],
      ],
    },
  ])
})

test('what a relay panel sends on change is taken apart as well, and a message of counters alone is held whole', () => {
  const m = meters(site)
  expect(JSON.parse(m.hold('{"rows":[{"t":1000,"signals":{"tu.do":6,"hp.hours":1}},{"t":2000,"signals":{"hp.hours":2}}]}') ?? '')).toEqual({
    rows: [{ t: 1000, signals: { 'tu.do': 6 } }],
  })
  expect(m.hold('{"t":3000,"signals":{"hp.hours":3}}')).toBeNull()
  expect(m.release(new Map([['hp.hours', 13]]))).toEqual(['{"names":["hp.hours"],"rows":[[1000,11],[2000,12],[3000,13]]}'])
})

test('no counter is moved below nothing', () => {
  const m = meters(site)
  m.hold('{"t":1000,"signals":{"hp.hours":5}}')
  m.hold('{"t":2000,"signals":{"hp.hours":50}}')
  expect(m.release(new Map([['hp.hours', 20]]))).toEqual(['{"names":["hp.hours"],"rows":[[1000,0],[2000,45]]}'])
})
