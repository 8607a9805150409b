/**
 * The learning defaults at work: the fault of each raises it, and what only looks like it does not. Stories and sizes: arithmetic on a reference loop and
 * common practice, no source.
 */
import { expect, test } from 'vitest'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { loop } from './yard.ts'
import { watch } from './watch.ts'

const HOUR = 60
const DAY = 24 * HOUR
const MORE = `  bio1.orp: { name: "Redox potential (Ag/AgCl)" }
  finished.orp: { name: "Redox potential (Ag/AgCl)" }
  finished.turbidity:
  ozone.run:
  transfer.run:
  transfer.flow:
  transfer.current:
  makeup.volume: { in: finished }
  hp.volume:
  filter.index:
  mains.l1: { quantity: voltage }
  mains.l2: { quantity: voltage }
  mains.l3: { quantity: voltage }
  yard.rain:
`
const MACHINES = `  transfer: { kind: pump, serves: [sump], flowLPerMin: 45, nameplateA: 2.4 }
  ozone: { kind: ozone, serves: [finished] }
`
const site = loop((t) => t.replace('signals:\n', `${MACHINES}signals:\n`).replaceAll('30s', '5min') + MORE)

type Row = Readonly<Record<string, number>>

/** Runs one default over `minutes` of rows, one every `step` minutes; gives how often it was raised. */
function raised(key: string, minutes: number, row: (min: number) => Row, step = 5): number {
  const def = defaultAlarms(site).defs.find((d) => d.id === `${site.id}/${key}`)
  if (!def) throw new Error(`no default ${key}`)
  const w = watch([def], { site })
  expect(w.engine.faults).toEqual([])
  for (let min = 0; min < minutes; min += step) {
    w.row(row(min))
    w.wait(60 * step)
  }
  return w.told.filter((t) => t.event.kind === 'raised').length
}

/** `then` after `days` of `usual`. */
const after =
  (days: number, usual: (min: number) => Row, then: (min: number) => Row) =>
  (min: number): Row =>
    min < days * DAY ? usual(min) : then(min - days * DAY)

test('redox that falls by a step raises with oxygen gone, and not when the probe was cleaned in a tank full of air', () => {
  const story = (oxygen: number) =>
    after(
      5,
      () => ({ 'bio1.orp': 200, 'bio1.do': 6 }),
      (m) => ({ 'bio1.orp': m < 30 ? 150 : 20, 'bio1.do': oxygen }),
    )
  expect(raised('bio1.orp.fall', 5 * DAY + 3 * HOUR, story(0.2))).toBe(1)
  expect(raised('bio1.orp.fall', 5 * DAY + 3 * HOUR, story(6))).toBe(0)
})

test('redox that rises by a step raises with ozone on; a difference as between two probes does not, nor a step with ozone off and oxygen level', () => {
  const story = (by: number, ozone: number) =>
    after(
      5,
      () => ({ 'bio1.orp': 200, 'bio1.do': 6, 'ozone.run': 0 }),
      (m) => ({ 'bio1.orp': m < 30 ? 230 : 200 + by, 'bio1.do': 6, 'ozone.run': ozone }),
    )
  expect(raised('bio1.orp.rise', 5 * DAY + 3 * HOUR, story(220, 1))).toBe(1)
  expect(raised('bio1.orp.rise', 5 * DAY + 3 * HOUR, story(120, 1))).toBe(0)
  expect(raised('bio1.orp.rise', 5 * DAY + 3 * HOUR, story(220, 0))).toBe(0)
})

test('two ozone runs that reach too little raise; one does not, nor the low redox of every night at rest', () => {
  const story = (weakFrom: number, weakTo: number) => (m: number) => {
    const [day, hour] = [Math.floor(m / DAY), (m % DAY) / HOUR]
    const on = hour >= 8 && hour < 18
    return { 'ozone.run': on ? 1 : 0, 'finished.orp': on ? (day >= weakFrom && day < weakTo ? 420 : 650) : 180 }
  }
  expect(raised('finished.orp.weak', 12 * DAY, story(9, 99), 15)).toBe(1)
  expect(raised('finished.orp.weak', 12 * DAY, story(9, 10), 15)).toBe(0)
  expect(raised('finished.orp.weak', 12 * DAY, story(99, 99), 15)).toBe(0)
})

test('cloudy water raises; bubbles do not, nor twice of what was very clear', () => {
  const story = (usual: number, then: (m: number) => number) =>
    after(
      8,
      () => ({ 'finished.turbidity': usual, 'transfer.run': 1 }),
      (m) => ({ 'finished.turbidity': then(m), 'transfer.run': 1 }),
    )
  expect(
    raised(
      'finished.turbidity.cloudy',
      8 * DAY + 5 * HOUR,
      story(10, () => 25),
    ),
  ).toBe(1)
  expect(
    raised(
      'finished.turbidity.cloudy',
      8 * DAY + 5 * HOUR,
      story(10, (m) => (m % 30 === 0 ? 300 : 10)),
    ),
  ).toBe(0)
  expect(
    raised(
      'finished.turbidity.cloudy',
      8 * DAY + 5 * HOUR,
      story(5, () => 12),
    ),
  ).toBe(0)
  expect(
    raised(
      'finished.turbidity.cloudy',
      8 * DAY + 5 * HOUR,
      story(14, () => 20),
    ),
  ).toBe(0)
})

test('an acid pump that does not stop raises after three of its longest pulses; one that doses twice as long does not', () => {
  // A pulse of one minute every 20, in rows of a minute.
  const pulses = (then: number) => (m: number) => ({ 'acid.run': m < 15 * 20 ? (m % 20 === 0 ? 1 : 0) : m - 300 < then ? 1 : 0 })
  expect(raised('acid.run.long', 330, pulses(8), 1)).toBe(1)
  expect(raised('acid.run.long', 330, pulses(2), 1)).toBe(0)
})

test('twice the acid for the same washing raises; three times the acid on a day of three times the washing does not', () => {
  // A day washes for `washed` hours at 1,000 L/h and doses `dosed` minutes an hour of it.
  const story = (washed: number, dosed: number) => {
    let total = 0
    return (m: number): Row => {
      const [day, hour, min] = [Math.floor(m / DAY), (m % DAY) / HOUR, m % HOUR]
      const hours = day < 10 ? 3 : washed
      const each = day < 10 ? 10 : dosed
      const washing = hour >= 8 && hour < 8 + hours
      if (washing) total += 83
      return { 'hp.volume': total, 'acid.run': washing && min < each ? 1 : 0 }
    }
  }
  expect(raised('acid.run.day', 11 * DAY, story(3, 40))).toBe(1)
  expect(raised('acid.run.day', 11 * DAY, story(9, 10))).toBe(0)
})

test('make-up that runs on all night raises; filling up after a wash does not', () => {
  const story = (until: number) => {
    let total = 0
    return (m: number): Row => {
      if (m >= 120 && m < until) total += 40
      return { 'makeup.volume': total, 'hp.run': m < 120 ? 1 : 0 }
    }
  }
  expect(raised('makeup.volume.runs-on', 12 * HOUR, story(12 * HOUR))).toBe(1)
  expect(raised('makeup.volume.runs-on', 12 * HOUR, story(3 * HOUR))).toBe(0)
})

test('five doses without an answer raise; water so well buffered that every dose moves little does not', () => {
  const story = (usual: number, then: number) => {
    let ph = 8
    return (m: number): Row => {
      const dose = Math.floor(m / 60)
      const at = m % 60
      const by = dose < 30 ? usual : then
      if (at === 6) ph -= by
      if (at === 58) ph += by
      return { 'acid.run': at < 2 ? 1 : 0, 'tu.ph': Math.round(1000 * ph) / 1000 }
    }
  }
  expect(raised('tu.ph.no-answer', 40 * HOUR, story(0.15, 0), 1)).toBe(1)
  expect(raised('tu.ph.no-answer', 40 * HOUR, story(0.05, 0.05), 1)).toBe(0)
})

test('a poisoned biology takes two signs: a missing dip alone does not say so, nor a step alone', () => {
  const story = (dip: number, orp: number) =>
    after(
      5,
      () => ({ 'tu.dip': 95, 'bio1.orp': 200, 'tu.ph': 7.4, 'finished.turbidity': 8 }),
      () => ({ 'tu.dip': dip, 'bio1.orp': orp, 'tu.ph': 7.4, 'finished.turbidity': 8 }),
    )
  expect(raised('tu.dip.poisoned', 5 * DAY + 4 * HOUR, story(15, 420))).toBe(1)
  expect(raised('tu.dip.poisoned', 5 * DAY + 4 * HOUR, story(15, 200))).toBe(0)
  expect(raised('tu.dip.poisoned', 5 * DAY + 4 * HOUR, story(95, 420))).toBe(0)
  expect(raised('tu.dip.low', 5 * DAY + 4 * HOUR, story(30, 200))).toBe(1)
  // The first day after a holiday: three quarters of the dip.
  expect(raised('tu.dip.low', 5 * DAY + 4 * HOUR, story(75, 200))).toBe(0)
})

test('not back three hours after the last wash raises; a heavy day that is back in two and a half does not', () => {
  expect(raised('tu.recovery.high', HOUR, () => ({ 'tu.recovery': 180 }))).toBe(1)
  expect(raised('tu.recovery.high', HOUR, () => ({ 'tu.recovery': 150 }))).toBe(0)
})

test('a pump that runs without flow raises; a weak start does not', () => {
  expect(raised('transfer.no-effect', 60, () => ({ 'transfer.run': 1, 'transfer.flow': 4 }))).toBe(1)
  expect(raised('transfer.no-effect', 60, (m) => ({ 'transfer.run': 1, 'transfer.flow': m < 5 ? 4 : 40 }))).toBe(0)
})

test('a pump that draws a third less raises; at rest it draws nothing and that is right', () => {
  const story = (then: number, on: number) =>
    after(
      4,
      () => ({ 'transfer.run': 1, 'transfer.current': 2 }),
      () => ({ 'transfer.run': on, 'transfer.current': then }),
    )
  expect(raised('transfer.current.light', 4 * DAY + 2 * HOUR, story(1.3, 1))).toBe(1)
  expect(raised('transfer.current.light', 4 * DAY + 2 * HOUR, story(0, 0))).toBe(0)
  expect(raised('transfer.current.light', 4 * DAY + 2 * HOUR, story(1.8, 1))).toBe(0)
})

test('a phase 4 % off is unbalance, 10 % off a weak phase; a dip of all three alike is neither', () => {
  const at =
    (c: number, all = 400) =>
    () => ({ 'mains.l1': all, 'mains.l2': all, 'mains.l3': c })
  expect([raised('supply.unbalance', HOUR, at(384)), raised('supply.phase', HOUR, at(384))]).toEqual([1, 0])
  expect(raised('supply.phase', HOUR, at(360))).toBe(1)
  expect([raised('supply.unbalance', HOUR, at(360, 360)), raised('supply.unbalance', HOUR, at(394))]).toEqual([0, 0])
})

test('paper that stands still through a dozen washes raises; a holiday does not', () => {
  const washes = (pulse: number) => (m: number) => ({ 'hp.run': m % 120 < 20 ? 1 : 0, 'filter.index': Math.floor((m / 120) * pulse) })
  expect(raised('filter.index.still', 30 * HOUR, washes(0))).toBe(1)
  expect(raised('filter.index.still', 30 * HOUR, washes(0.5))).toBe(0)
  expect(raised('filter.index.still', 9 * DAY, () => ({ 'hp.run': 0, 'filter.index': 7 }), 15)).toBe(0)
})

test('an ozone generator that stands still through a day of washing raises; its rest of every night and weekend does not', () => {
  const washing = (m: number): number => (m % DAY < 10 * HOUR && m % 60 < 20 ? 1 : 0)
  expect(raised('ozone.run.idle', 3 * DAY, (m) => ({ 'ozone.run': 0, 'hp.run': washing(m) }))).toBe(1)
  expect(raised('ozone.run.idle', 5 * DAY, (m) => ({ 'ozone.run': m % DAY < 10 * HOUR ? 1 : 0, 'hp.run': washing(m) }))).toBe(0)
  expect(raised('ozone.run.idle', 5 * DAY, () => ({ 'ozone.run': 0, 'hp.run': 0 }), 15)).toBe(0)
})

test('water in the containment is a leak in dry weather, and work for the day after rain, also after a day of it', () => {
  const story = (rain: number) => (m: number) => ({ 'yard.rain': m < 10 * HOUR ? rain : 0, 'containment.leak': m > 9 * HOUR ? 1 : 0 })
  expect([raised('containment.leak.wet', 12 * HOUR, story(0)), raised('containment.leak.rain', 12 * HOUR, story(0))]).toEqual([1, 0])
  expect([raised('containment.leak.wet', 12 * HOUR, story(3)), raised('containment.leak.rain', 12 * HOUR, story(3))]).toEqual([0, 1])
})
