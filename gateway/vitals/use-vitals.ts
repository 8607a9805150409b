/** What machines use: paper, chemicals and power for each cubic metre washed, load of motors, salt the loop has gathered. */
import { paperPerM3 } from '../process/filter.ts'
import { loadShare, threePhaseKw } from '../process/motor.ts'
import { lossFromConductivity } from '../process/salt.ts'
import type { Equipment, Signal } from '../site/site.ts'
import type { Tally } from './counting.ts'
import { GOOD, type Grade, doubted, worse } from './grade.ts'
import { createHours, freshHours, HOUR_MS, type Hours, type HoursState } from './hours.ts'
import { at, loopConductivity, machinesOf, makeUpConductivity, stageOf } from './places.ts'
import { inputOf, valueAt } from './slots.ts'
import { interval80, ofStep } from './spread.ts'
import { type Outcome, type Vital, withheld } from './vital.ts'
import { LEAST_WASHED_L, WAIT, WEEK_H, weekOf } from './week.ts'
import { blind, fact, found, PRACTICE, seen, type Sketch, type Works } from './works.ts'

const METER = 'Wash water meter'

export const useVitals = (w: Works): readonly Vital[] => [...paper(w), ...chemicals(w), power(w), ...loads(w), salt(w)]

/** Amount of a week over the water of the week. */
function perM3(w: Works, s: Sketch, tally: Tally, scale: number, share: number, step: number, what: string, notes: readonly string[]): Vital {
  const { washing } = w
  if (!washing || washing.atMost) return blind(w, s, 'how much is washed is not measured: hours of the washer count the time between pulls of the trigger too', METER)
  return seen(w, s, 'hour', (atMs): Outcome => {
    const washed = weekOf('washing', washing.tally.hours.sum(atMs, WEEK_H))
    const used = weekOf(what, tally.hours.sum(atMs, WEEK_H))
    if (typeof washed === 'string') return withheld(washed, WAIT, [], atMs)
    if (typeof used === 'string') return withheld(used, WAIT, [], atMs)
    if (washed.total < LEAST_WASHED_L) return withheld(`less than ${LEAST_WASHED_L} L were washed in 7 days: a use of so little says nothing`, 'Washing', [], atMs)
    const m3 = washed.total / 1000
    const value = paperPerM3(used.total * scale, m3)
    return {
      kind: 'told',
      value,
      interval: interval80(value, [value * Math.hypot(share, washing.doubt), step / m3], 0),
      bound: used.atLeast ? 'at-least' : null,
      atMs,
      grade: worse(washed.grade, used.grade),
      inputs: [
        found(washing.signal.id, 'washed', washed.total, 'L', atMs, washed.grade),
        found(s.inputs[0]?.id ?? 'site', what, used.total * scale, s.unit.split('/')[0] ?? '', atMs, used.grade),
      ],
      notes: [...notes],
    }
  })
}

function paper(w: Works): readonly Vital[] {
  const { site } = w
  const filter = stageOf(site, 'filter')
  if (!filter) return []
  const places = [filter.id, ...machinesOf(site, 'filter-drive').map((e) => e.id)]
  const pulses = places.map((p) => at(site, p, 'pulses')).find((s) => s !== null) ?? null
  const sketch: Sketch = {
    id: `${filter.id}.per-m3`,
    name: 'Paper advances for each m³ washed',
    unit: '{count}/m3',
    digits: 1,
    tank: filter.id,
    inputs: [pulses, w.washing?.signal],
    formula: 'index pulses / water washed',
    source: PRACTICE,
    window: 'last 7 full days of hours',
  }
  if (!pulses) return [blind(w, sketch, 'advances of the paper are not counted', 'Index pulses of the paper drive')]
  return [
    perM3(w, sketch, w.counting(pulses, 3600), 1, 0, ofStep(1), 'advances', [
      'Rising: more or finer dirt, alum carried over, or a timer fault. None while washing: torn paper, motor, float.',
    ]),
  ]
}

function chemicals(w: Works): readonly Vital[] {
  const { site } = w
  return machinesOf(site, 'dosing').map((e) => {
    const run = at(site, e.id, 'run')
    const hours = at(site, e.id, 'hours')
    const signal = hours ?? run
    const sketch: Sketch = {
      id: `${e.id}.per-m3`,
      name: `${e.doses ? e.doses.slice(0, 1).toUpperCase() + e.doses.slice(1) : e.name} for each m³ washed`,
      unit: 'L/m3',
      digits: 3,
      ...(e.serves[0] && { tank: e.serves[0] }),
      inputs: [signal, w.washing?.signal],
      formula: 'hours of the dosing pump x its litres an hour / water washed',
      source: PRACTICE,
      window: 'last 7 full days of hours',
    }
    if (!signal) return blind(w, sketch, `nothing tells when ${e.name.toLowerCase()} runs`, `Run contact of ${e.name.toLowerCase()}`)
    if (e.flowLPerMin === null) return blind(w, sketch, `what ${e.name.toLowerCase()} delivers is not in the site file`, `flowLPerMin of ${e.id} in the site file`)
    // The stroke of a dosing pump is off by some 10 %; pulses shorter than a sample are seen by chance.
    const seldom = !hours && signal.sampleEveryMs > 20_000
    const tally = hours ? w.counting(hours, 1.05) : w.running(signal)
    const notes = seldom ? ['The contact is looked at more seldom than a pulse lasts: right on average only.'] : []
    return perM3(w, sketch, tally, e.flowLPerMin * 60, seldom ? 0.2 : 0.1, e.flowLPerMin * (hours ? hours.resolution * 60 : 0.5), e.name.toLowerCase(), notes)
  })
}

/** Phase voltage over line voltage: three meters to neutral read about 230 V where the line has 400 V. */
const TO_NEUTRAL_BELOW = 300
const POWER_FACTOR = { best: 0.85, share: 0.06 }

function power(w: Works): Vital {
  const { site } = w
  const motors = site.equipment.flatMap((e) => (e.kind === 'dosing' ? [] : (at(site, e.id, 'current') ?? [])))
  const volts = site.signals.filter((s) => s.quantity === 'voltage')
  const big = site.equipment.filter((e) => ['washer', 'aerator', 'pump'].includes(e.kind))
  const without = big.filter((e) => at(site, e.id, 'current') === null)
  const sketch: Sketch = {
    id: 'power.per-m3',
    name: 'Power for each m³ washed',
    unit: 'kW.h/m3',
    digits: 2,
    inputs: [...motors, ...volts, w.washing?.signal],
    formula: `sum over motors of sqrt(3) x volts x amperes x power factor ${POWER_FACTOR.best} x time / water washed`,
    source: 'three-phase power; power factor: common practice, no source',
    window: 'last 7 full days of hours',
  }
  if (without.length > 0 || motors.length === 0)
    return blind(w, sketch, 'the current of a large motor is not measured', `Current of ${without.map((e) => e.name.toLowerCase()).join(', ') || 'the motors'}, or an energy meter`)
  if (volts.length === 0) return blind(w, sketch, 'the mains voltage is not measured', 'Mains voltage, or an energy meter')
  const hours: Hours = createHours(w.memory.of<HoursState>('energy', freshHours))
  const slots = motors.map((m) => w.slot(m))
  const mains = volts.map((v) => w.slot(v))
  for (const slot of slots) {
    const last: { now: { atMs: number; kw: number; grade: Grade } | null } = { now: null }
    slot.listeners.push((x) => {
      const was = last.now
      if (was) {
        const toMs = Math.min(x.atMs, was.atMs + x.holdMs)
        // Known time is that of the first motor only, so that the share seen stays a share.
        hours.add(slot === slots[0] ? was.atMs : toMs, toMs, (was.kw * (toMs - was.atMs)) / HOUR_MS, was.grade)
      }
      const read = mains.flatMap((v) => {
        const value = valueAt(v, x.atMs)
        return typeof value === 'number' ? [{ value, grade: v.grade }] : []
      })
      if (x.value === null || read.length === 0) {
        last.now = null
        return
      }
      const mean = read.reduce((sum, v) => sum + v.value, 0) / read.length
      const line = mean < TO_NEUTRAL_BELOW && mean > 150 ? mean * Math.sqrt(3) : mean
      last.now = { atMs: x.atMs, kw: threePhaseKw(line, Math.max(0, x.value), POWER_FACTOR.best), grade: read.reduce<Grade>((g, v) => worse(g, v.grade), x.grade) }
    })
  }
  return perM3(w, sketch, { hours, listeners: [] }, 1, POWER_FACTOR.share, 0.1, 'energy', ['Taken as three-phase; ozone, heating and light are not in it.'])
}

const NO_LOAD = { low: 0.3, best: 0.4, high: 0.5 }

function loads(w: Works): readonly Vital[] {
  const { site } = w
  return site.equipment
    .filter((e) => e.kind === 'pump' || e.kind === 'washer')
    .map((e) => {
      const current = at(site, e.id, 'current')
      const sketch: Sketch = {
        id: `${e.id}.load`,
        name: `Load, ${e.name.toLowerCase()}`,
        unit: '%',
        digits: 0,
        inputs: [current],
        formula: '100 x (1 - (rated - current) / (rated - idle current)), idle current taken as 30 to 50 % of rated; below half load current hardly moves',
        source: 'load formula of EC&M magazine; idle share: common practice, no source',
        window: 'newest reading',
      }
      if (!current) return blind(w, sketch, `the current of ${e.name.toLowerCase()} is not measured`, `Current of ${e.name.toLowerCase()}`)
      return e.nameplateA === null
        ? blind(w, sketch, 'the rated current is not in the site file', `nameplateA of ${e.id} in the site file`)
        : load(w, sketch, e, current, e.nameplateA)
    })
}

function load(w: Works, sketch: Sketch, e: Equipment, current: Signal, ratedA: number): Vital {
  const slot = w.slot(current)
  return seen(w, sketch, 'beat', (atMs) => {
    const a = valueAt(slot, atMs)
    if (typeof a === 'string') return withheld(a, `A good reading of ${current.name.toLowerCase()}`, [inputOf(slot)], atMs)
    const inputs = [inputOf(slot), fact('rated current', ratedA, 'A')]
    if (a < 0.05 * ratedA) return withheld(`${e.name.toLowerCase()} rests`, 'Running', inputs, atMs)
    const of = (idle: number): number => Math.max(0, 100 * loadShare(a, { ratedA, idleA: idle * ratedA }))
    return {
      kind: 'told',
      value: of(NO_LOAD.best),
      interval: { low: of(NO_LOAD.high), high: of(NO_LOAD.low) },
      bound: null,
      atMs,
      // The idle current is assumed, so the figure is never better than that.
      grade: doubted(slot.grade),
      inputs,
      notes:
        e.kind === 'washer' ? ['Near zero between pulls of the trigger: the pump is on its unloader.'] : ['Low while running: lost prime, closed suction or a broken coupling.'],
    }
  })
}

function salt(w: Works): Vital {
  const { site } = w
  const loop = loopConductivity(site)
  const fresh = makeUpConductivity(site)
  const sketch: Sketch = {
    id: 'salt.cycles',
    name: 'Salt against make-up',
    unit: '1',
    digits: 1,
    inputs: [loop, fresh],
    formula: 'conductivity of the loop / conductivity of its make-up. At rest it is make-up / (carried off + blowdown): evaporation takes no salt away',
    source: 'mass balance of salt',
    window: 'newest readings',
  }
  const missing = [...(loop ? [] : ['Conductivity in the loop']), ...(fresh ? [] : ['Conductivity of the make-up'])]
  if (!loop || !fresh) return blind(w, sketch, 'the salt of both waters is not measured', missing.join(', '))
  const [a, b] = [w.slot(loop), w.slot(fresh)]
  return seen(w, sketch, 'hour', (atMs) => {
    const [salty, plain] = [valueAt(a, atMs), valueAt(b, atMs)]
    if (typeof salty === 'string') return withheld(salty, `A good reading of ${loop.name.toLowerCase()}`, [inputOf(a)], atMs)
    if (typeof plain === 'string') return withheld(plain, `A good reading of ${fresh.name.toLowerCase()}`, [inputOf(b)], atMs)
    if (plain <= 0) return withheld('the make-up shows no conductivity at all', `A look at the probe of ${fresh.name.toLowerCase()}`, [inputOf(b)], atMs)
    const value = salty / plain
    const split = splitOf(w, atMs, plain, salty)
    return {
      kind: 'told',
      value,
      interval: interval80(value, [0.03 * value], 0),
      bound: null,
      atMs,
      grade: worse(worse(a.grade, b.grade), split.grade),
      inputs: [inputOf(a), inputOf(b)],
      notes: ['Dosed sulphate, road salt and nitrate come on top of what evaporation leaves.', ...split.notes],
    }
  })
}

/** Evaporation and carry-off, which make-up alone cannot tell apart. */
function splitOf(w: Works, atMs: number, plain: number, salty: number): { readonly notes: readonly string[]; readonly grade: Grade } {
  const made = w.makeUp ? weekOf('make-up', w.makeUp.tally.hours.sum(atMs, WEEK_H)) : 'no meter'
  if (typeof made === 'string' || made.total <= 0 || salty <= 0) return { notes: [], grade: GOOD }
  const blown = w.book.of('blowdown').reduce((sum, n) => sum + (n.atMs > atMs - WEEK_H * HOUR_MS && n.atMs <= atMs ? (n.value ?? 0) * (n.unit === 'm3' ? 1000 : 1) : 0), 0)
  const loss = lossFromConductivity(made.total, Math.max(0, blown), plain, salty)
  if ('because' in loss) return { notes: [`Evaporation and carry-off: ${loss.because}.`], grade: made.grade }
  return {
    notes: [
      `If the loop is at rest and nothing is dosed: of ${made.total.toFixed(0)} L make-up in 7 days about ${loss.evaporation.toFixed(0)} L evaporated and ${loss.carryOff.toFixed(0)} L were carried off.`,
    ],
    grade: made.grade,
  }
}
