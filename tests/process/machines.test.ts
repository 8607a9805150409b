import fc from 'fast-check'
import { expect, test } from 'vitest'
import { paperLeft, paperOfPulses, paperPerM3, rollDays } from '../../gateway/process/filter.ts'
import { affinity, dwellH, hydraulicKw, minutesToFill, nozzlePressureShare, rainLPerH, slugShares } from '../../gateway/process/hydraulics.ts'
import { amperesOfShaft, currentBand, deratingShare, loadShare, threePhaseKw, unbalancePct } from '../../gateway/process/motor.ts'
import { fullLoadA, lockedRotorRatio } from '../../gateway/process/motor-table.ts'
import { lossFromConductivity, makeUp, restingConductivity, saltCycles } from '../../gateway/process/salt.ts'
import { because, real, seen } from './noise.ts'

test('one mixed tank holds 36.8 % of a slug after one dwell time and 13.5 % after two', () => {
  expect(slugShares([2000], 20, 2000 / 20 / 60)[0]).toBeCloseTo(Math.exp(-1), 12)
  expect(slugShares([2000], 20, 4000 / 20 / 60)[0]).toBeCloseTo(Math.exp(-2), 12)
})

test('a slug in equal tanks one after another follows the closed form, in each tank', () => {
  // Share of tank i after x dwell times of one tank: exp(-x) x^i / i!
  for (const x of [0.3, 1, 4, 12, 75]) {
    const shares = slugShares([500, 500, 500, 500], 10, (x * 500) / 10 / 60)
    let factor = Math.exp(-x)
    shares.forEach((s, i) => {
      expect(s).toBeCloseTo(factor, 10)
      factor *= x / (i + 1)
    })
  }
})

test('two unequal tanks follow their closed form, and a slug is never more than whole', () => {
  const [a, b] = [1 / 3, 1 / 0.5]
  const t = 2.5
  const shares = slugShares([3 * 600, 0.5 * 600], 10, t)
  expect(shares[0]).toBeCloseTo(Math.exp(-a * t), 10)
  expect(shares[1]).toBeCloseTo((a / (b - a)) * (Math.exp(-a * t) - Math.exp(-b * t)), 10)
  fc.assert(
    fc.property(fc.array(real(10, 10_000), { minLength: 1, maxLength: 8 }), real(0, 200), (volumes, hours) => {
      const s = slugShares(volumes, 20, hours)
      const sum = s.reduce((x, y) => x + y, 0)
      return s.every((v) => v >= 0) && sum <= 1 + 1e-9
    }),
  )
  expect(slugShares([100, 100], 0, 5)).toEqual([1, 0])
})

test('dwell adds up along the train and a train without flow has none', () => {
  expect(dwellH([2300, 7600, 7600], 23)).toBeCloseTo(17_500 / 23 / 60, 10)
  expect(() => dwellH([2300], 0)).toThrow('flow is 0 L/min')
})

test('rain of 25 mm/h on a pad of 60 m2 is 1.5 m3 in an hour, 6.6 US gallons a minute', () => {
  // Common practice, no source.
  expect(rainLPerH(25, 60)).toBe(1500)
  expect(rainLPerH(25, 60) / 60 / 3.785411784).toBeCloseTo(6.6, 1)
})

test('a nozzle a tenth larger costs a plunger pump 17 % of its pressure', () => {
  // Common practice, no source.
  expect(1 - nozzlePressureShare(1.1)).toBeCloseTo(0.17, 2)
  expect(affinity(1)).toEqual({ flow: 1, head: 1, power: 1 })
  expect(hydraulicKw(0, 240)).toBe(0)
  expect(minutesToFill(227, 23)).toBeCloseTo(9.9, 1)
  expect(minutesToFill(227, 0)).toBe(Number.POSITIVE_INFINITY)
})

test('power from current and current from power are inverses', () => {
  const amperes = amperesOfShaft(15, 460, 0.91, 0.85)
  expect((threePhaseKw(460, amperes, 0.85) * 0.91 * 1000) / 745.69987158).toBeCloseTo(15, 8)
  // Below the 21 A of the wiring table: alarms do not take that figure.
  expect(amperes).toBeLessThan(fullLoadA(3, 15, 460) ?? 0)
})

test('unbalance is the largest distance from the mean, whatever the order of the lines', () => {
  fc.assert(
    fc.property(real(1, 600), real(1, 600), real(1, 600), (a, b, c) => {
      const u = unbalancePct(a, b, c)
      return typeof u === 'number' && u >= 0 && u <= 200 && Math.abs(u - Number(unbalancePct(c, a, b))) < 1e-9
    }),
  )
  expect(because(unbalancePct(0, 0, 0))).toBe('nothing flows in any line')
  expect(unbalancePct(20, 20, 0)).toBeCloseTo(100, 10)
})

test.each([
  [0, 1],
  [0.5, 1],
  [1.5, 0.97],
  [2.25, 0.94],
  [3, 0.89],
  [5, 0.76],
  [5.1, 0],
])('at %f %% voltage unbalance a motor may carry %f of its rating', (pct, share) => {
  expect(deratingShare(pct)).toBeCloseTo(share, 10)
})

test('load from current runs from nothing at idle current to all at rated current', () => {
  expect(loadShare(35, { ratedA: 120, idleA: 35 })).toBe(0)
  expect(loadShare(120, { ratedA: 120, idleA: 35 })).toBe(1)
  expect(() => loadShare(50, { ratedA: 30, idleA: 35 })).toThrow('rated less idle current is -5 A')
})

test.each([
  [0, 'off'],
  [4.5, 'idling'],
  [7.5, 'low'],
  [10, 'normal'],
  [11.9, 'high'],
  [14, 'overload'],
  [55, 'locked'],
])('%f A of a motor that runs at 10 A is %s', (amperes, band) => {
  expect(currentBand(amperes, 10)).toBe(band)
})

test('the wiring table answers for what it tabulates and for nothing else', () => {
  expect(fullLoadA(3, 15, 460)).toBe(21)
  expect(fullLoadA(1, 1 / 3, 115)).toBe(7.2)
  expect(fullLoadA(3, 15, 400)).toBeNull()
  expect(fullLoadA(1, 15, 230)).toBeNull()
  expect(fullLoadA(3, 100, 208)).toBeNull()
  expect(lockedRotorRatio(5)).toBeNull()
})

test('the roll lasts as long as its paper per water times the water expected, with the interval of both', () => {
  expect(paperPerM3(12, 8)).toBe(1.5)
  expect(paperOfPulses(40, 0.3)).toBe(12)
  const f = { left: 60, perM3: { low: 1, best: 1.5, high: 2 }, expectedM3PerD: { low: 0, best: 4, high: 6 } }
  expect(seen(rollDays(f))).toEqual({ low: 5, best: 10, high: Number.POSITIVE_INFINITY })
  expect(because(rollDays({ ...f, perM3: { low: 0, best: 0, high: 2 } }))).toContain('no paper was advanced while washing')
  expect(because(rollDays({ ...f, expectedM3PerD: { low: 0, best: 0, high: 0 } }))).toBe('no washing is expected')
  expect(() => rollDays({ ...f, perM3: { low: 2, best: 1, high: 3 } })).toThrow('paper per m3 runs 2, 1, 3')
})

test('a roll that gave more paper than it had is a roll change nobody wrote down', () => {
  expect(paperLeft(100, 104)).toBe(0)
  expect(() => paperLeft(100, 120)).toThrow('120 of paper advanced from a roll of 100: enter the roll change in the site log')
})

test.each([
  [5, 20, 0, 1.25],
  [20, 5, 0, 5],
  [0, 0, 0, 1],
  [10, 0, 10, 2],
])('evaporation %i, carry-off %i, blowdown %i of 100: the loop holds %f times the salt of its make-up', (evaporation, carryOff, blowdown, cycles) => {
  // Common practice, no source: 1.2 (rounded) and 5 for the first two.
  expect(saltCycles({ evaporation, carryOff, blowdown })).toBeCloseTo(cycles, 10)
})

test('a loop that only evaporates gathers salt without end', () => {
  expect(saltCycles({ evaporation: 5, carryOff: 0, blowdown: 0 })).toBe(Number.POSITIVE_INFINITY)
  expect(restingConductivity(500, { evaporation: 5, carryOff: 0, blowdown: 0 })).toBe(Number.POSITIVE_INFINITY)
  expect(restingConductivity(500, { evaporation: 20, carryOff: 5, blowdown: 0 })).toBeCloseTo(2500, 10)
})

test('with both conductivities evaporation and carry-off come apart; without them nobody can tell', () => {
  fc.assert(
    fc.property(real(0, 50), real(0.5, 50), real(0, 20), (evaporation, carryOff, blowdown) => {
      const l = { evaporation, carryOff, blowdown }
      const found = seen(lossFromConductivity(makeUp(l), blowdown, 400, restingConductivity(400, l)))
      return Math.abs(found.evaporation - evaporation) < 1e-6 && Math.abs(found.carryOff - carryOff) < 1e-6
    }),
  )
  expect(because(lossFromConductivity(10, 0, null, 900))).toBe('evaporation and carry-off need the conductivity of make-up and of the loop')
  expect(because(lossFromConductivity(10, 0, 900, 400))).toContain('the loop is fresher than its make-up')
  expect(because(lossFromConductivity(10, 8, 400, 900))).toContain('salt comes from elsewhere')
})
