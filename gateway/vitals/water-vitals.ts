/** Water: what stands in each tank, how long it can be washed, what was washed and recycled, what was lost, what leaks at night, how long the water stays. */
import { EMPTY_PCT } from '../alarms/defaults-water.ts'
import { dwellH } from '../process/hydraulics.ts'
import { volumeOfPctL } from '../process/tank-level.ts'
import type { Stage } from '../site/site.ts'
import { airOf } from './air.ts'
import type { Sum } from './hours.ts'
import { doubted, GOOD, type Grade, worse, worst } from './grade.ts'
import { watchNights } from './nights.ts'
import { biology, lanceOf, levelOf, stageOf, theStage, transferRuns, washerSignal } from './places.ts'
import { inputOf, type Slot, valueAt } from './slots.ts'
import { interval80, ofStep } from './spread.ts'
import { type Input, type Outcome, type Vital, withheld } from './vital.ts'
import { blind, fact, found, PRACTICE, seen, type Sketch, type Works } from './works.ts'

export const WEEK_H = 168
/** Share of the week a meter must have been heard for a week's sum to be told. */
const LEAST_SEEN = 0.9
/** Doubts, standard deviations. Common practice, no source: meters 1 %; foam, bubbles and waves under a level head 1 % of the tank; a tank nobody measures 1 %. */
const METER_SHARE = 0.01
const LEVEL_SHARE = 0.01
const UNMEASURED_SHARE = 0.01
/** A lance gives what its nozzle and pump let through, give or take. Common practice, no source. */
const LANCE_SHARE = 0.05

/** Litres at a level, by the shape where it is known. */
function litresOf(stage: Stage): ((pct: number) => number) | null {
  const clamp = (pct: number): number => Math.min(120, Math.max(0, pct))
  const { tank, volumeL } = stage
  if (tank) return (pct) => volumeOfPctL(tank, clamp(pct))
  return volumeL === null ? null : (pct) => (clamp(pct) / 100) * volumeL
}

interface Gauge {
  readonly stage: Stage
  readonly slot: Slot
  readonly litres: (pct: number) => number
  readonly volumeL: number
}

function gaugesOf(w: Works): readonly Gauge[] {
  return w.site.stages.flatMap((stage) => {
    const level = levelOf(w.site, stage)
    const litres = litresOf(stage)
    return level && litres && stage.volumeL !== null ? [{ stage, slot: w.slot(level), litres, volumeL: stage.volumeL }] : []
  })
}

export function waterVitals(w: Works): readonly Vital[] {
  const gauges = gaugesOf(w)
  return [...gauges.flatMap((g) => [volume(w, g), leak(w, g)]), ...noGauge(w, gauges), minutesLeft(w, gauges), ...washed(w), lost(w, gauges), dwell(w)]
}

function volumeSketch(stage: Stage, g: Gauge | null): Sketch {
  return {
    id: `${stage.id}.volume`,
    name: `Water in ${theStage(stage)}`,
    unit: 'L',
    digits: 0,
    tank: stage.id,
    inputs: [g?.slot.signal],
    formula: stage.tank ? 'volume of cylinder and cone below the level; percent of level is not percent of volume in a cone' : 'level x litres to the overflow',
    source: 'plane geometry',
    window: 'newest reading',
  }
}

function volume(w: Works, g: Gauge): Vital {
  return seen(w, volumeSketch(g.stage, g), 'beat', (atMs) => {
    const pct = valueAt(g.slot, atMs)
    if (typeof pct === 'string') return withheld(pct, `A good reading of ${g.slot.signal.name.toLowerCase()}`, [inputOf(g.slot)], atMs)
    const value = g.litres(pct)
    const step = g.litres(pct + g.slot.signal.resolution / 2) - g.litres(pct - g.slot.signal.resolution / 2)
    return {
      kind: 'told',
      value,
      interval: interval80(value, [ofStep(step), LEVEL_SHARE * g.volumeL], 0),
      bound: null,
      atMs,
      grade: g.slot.grade,
      inputs: [inputOf(g.slot), fact('litres to the overflow', g.volumeL, 'L')],
      notes: ['Foam under the head reads as water; bubbles lift the surface.'],
    }
  })
}

/** The two tanks where a level matters most say so when it is missing. */
function noGauge(w: Works, gauges: readonly Gauge[]): readonly Vital[] {
  const out: Vital[] = []
  for (const kind of ['sump', 'finished'] as const) {
    const stage = stageOf(w.site, kind)
    if (!stage || gauges.some((g) => g.stage === stage)) continue
    const measured = levelOf(w.site, stage) !== null
    out.push(
      blind(
        w,
        volumeSketch(stage, null),
        measured ? 'the volume of the tank is not in the site file' : 'its level is not measured',
        measured ? 'volumeL of the stage in the site file' : `Level of ${theStage(stage)}`,
      ),
    )
    if (kind === 'finished') out.push(blind(w, leakSketch(stage, null, []), 'its level is not measured', `Level of ${theStage(stage)}`))
  }
  return out
}

function leakSketch(stage: Stage, g: Gauge | null, movers: readonly Slot[]): Sketch {
  return {
    id: `${stage.id}.leak`,
    name: `Loss at rest, ${stage.name.toLowerCase()}`,
    unit: 'L/h',
    digits: 0,
    tank: stage.id,
    inputs: [g?.slot.signal, ...movers.map((m) => m.signal)],
    formula:
      'fall of the level in 3 h or more with every pump, washer and make-up at rest and the air in one state, first half hour left out; told as "no leak above X" unless the fall is larger than its error',
    source: PRACTICE,
    window: 'one rest of 3 to 20 h',
  }
}

function leak(w: Works, g: Gauge): Vital {
  const { site } = w
  const washer = washerSignal(site, 'run')
  const runs = [...transferRuns(site), ...(washer ? [washer] : [])].map((s) => w.slot(s))
  const makeUp = w.makeUp ? w.slot(w.makeUp.signal) : null
  const sketch = leakSketch(g.stage, g, [...runs, ...(makeUp ? [makeUp] : [])])
  const pumped = site.equipment.some((e) => e.kind === 'pump')
  if (pumped && transferRuns(site).length === 0) return blind(w, sketch, 'no signal tells whether the transfer pump rests', 'Run contact of the transfer pump')
  if (!washer && !w.washing) return blind(w, sketch, 'no signal tells whether the washer rests', 'Run contact of the washer, or a wash meter')
  if (!makeUp) return blind(w, sketch, 'no signal tells whether make-up flows', 'Make-up water meter')
  const state = { madeUpMs: Number.NEGATIVE_INFINITY }
  w.makeUp?.tally.listeners.push((_amount: number, _from: number, toMs: number) => {
    state.madeUpMs = toMs
  })
  const airs = biology(site).flatMap((s) => airOf(site, s.id, w.slots) ?? [])
  const nights = watchNights(
    {
      stage: g.stage.id,
      level: g.slot,
      litresOf: g.litres,
      air: (atMs) => airs.map((a) => String(a.on(atMs))).join(),
      grade: () => worst([...runs, makeUp].map((s) => s.grade)),
      moving(atMs) {
        if (w.washing?.now(atMs) === true) return true
        if (atMs - state.madeUpMs <= 2 * makeUp.signal.reportEveryMs) return true
        for (const r of [...runs, makeUp]) {
          const v = valueAt(r, atMs)
          if (typeof v === 'string') return null
          if (r !== makeUp && v >= 0.5) return true
        }
        return false
      },
    },
    w.memory,
  )
  return seen(
    w,
    sketch,
    'event',
    (atMs) => {
      const n = nights.state.night
      if (!n) return withheld('no rest of 3 h or more with every pump, washer and make-up at rest was seen yet', 'A quiet night', [inputOf(g.slot)], atMs)
      const falls = n.lossLPerH - n.reachLPerH > 0
      const bound = Math.max(0, n.lossLPerH) + n.reachLPerH
      return {
        kind: 'told',
        value: falls ? n.lossLPerH : bound,
        interval: falls ? interval80(n.lossLPerH, [n.errorLPerH], 0) : { low: 0, high: bound },
        bound: falls ? null : 'below',
        atMs: n.toMs,
        grade: n.grade,
        inputs: [found(g.slot.signal.id, 'fall of the level', n.lossLPerH, 'L/h', n.toMs, n.grade), found(g.slot.signal.id, 'rest', (n.toMs - n.fromMs) / 3_600_000, 'h', n.toMs)],
        notes: [falls ? 'Leak and evaporation together.' : 'No leak above this was seen; a smaller one cannot be excluded.', 'Leaks of 10 to 15 L/h show in a quiet night.'],
      }
    },
    () => nights.state.version,
  )
}

function minutesLeft(w: Works, gauges: readonly Gauge[]): Vital {
  const stage = stageOf(w.site, 'finished')
  const g = gauges.find((x) => x.stage === stage)
  const lance = lanceOf(w.site)
  const sketch: Sketch = {
    id: 'wash.minutes-left',
    name: 'Minutes of washing left',
    unit: 'min',
    digits: 0,
    ...(stage && { tank: stage.id }),
    inputs: [g?.slot.signal],
    formula: `litres above ${EMPTY_PCT} % of the finished-water level, where the pump draws air, / litres a minute of one lance`,
    source: PRACTICE,
    window: 'newest reading',
  }
  if (!g || !stage)
    return blind(
      w,
      sketch,
      stage && levelOf(w.site, stage) ? 'the volume of the tank is not in the site file' : 'the level of the finished water is not measured',
      stage && levelOf(w.site, stage) ? 'volumeL of the finished-water tank in the site file' : 'Level of the finished-water tank',
    )
  if (lance === null) return blind(w, sketch, 'what a lance uses is not in the site file', 'lanceLPerMin of the washer in the site file')
  return seen(w, sketch, 'beat', (atMs) => {
    const pct = valueAt(g.slot, atMs)
    if (typeof pct === 'string') return withheld(pct, `A good reading of ${g.slot.signal.name.toLowerCase()}`, [inputOf(g.slot)], atMs)
    const litres = Math.max(0, g.litres(pct) - g.litres(EMPTY_PCT))
    const step = g.litres(pct + g.slot.signal.resolution / 2) - g.litres(pct - g.slot.signal.resolution / 2)
    const value = litres / lance
    return {
      kind: 'told',
      value,
      interval: interval80(value, [ofStep(step) / lance, (LEVEL_SHARE * g.volumeL) / lance, LANCE_SHARE * value], 0),
      bound: null,
      atMs,
      grade: g.slot.grade,
      inputs: [inputOf(g.slot), fact('litres to the overflow', g.volumeL, 'L'), fact('one lance', lance, 'L/min')],
      notes: ['Without what flows back meanwhile: with the pump running it lasts longer.'],
    }
  })
}

/** A week's sum, or the sentence that says why there is none. `whole`: part of it may not be missing. */
export function weekOf(what: string, sum: Sum | null): Sum | string {
  if (!sum) return `${what} has not been counted for 7 days yet`
  if (sum.seen < LEAST_SEEN) return `${what} was heard for ${(100 * sum.seen).toFixed(0)} % of the last 7 days and ${100 * LEAST_SEEN} % are needed`
  return sum
}

const WAIT = 'Seven days of readings'

function washed(w: Works): readonly Vital[] {
  const { site, washing, makeUp } = w
  const run = washerSignal(site, 'run')
  const volumeSketch_: Sketch = {
    id: 'wash.volume',
    name: 'Water washed, 7 days',
    unit: 'm3',
    digits: 1,
    inputs: [washing?.signal],
    formula: washing?.how === 'contact' ? 'hours of the washer x litres a minute of one lance: pauses of the trigger count too, so it is at most' : 'rise of the wash meter',
    source: PRACTICE,
    window: 'last 7 full days of hours',
  }
  const hours: Sketch = {
    id: 'wash.hours',
    name: 'Washer hours, 7 days',
    unit: 'h',
    digits: 1,
    inputs: [run],
    formula: 'time the run contact of the washer was closed',
    source: PRACTICE,
    window: 'last 7 full days of hours',
  }
  const recycled: Sketch = {
    id: 'water.recycled',
    name: 'Water recycled, 7 days',
    unit: 'm3',
    digits: 1,
    inputs: [washing?.signal, makeUp?.signal],
    formula: 'water washed less make-up',
    source: 'water balance of the loop',
    window: 'last 7 full days of hours',
  }
  const share: Sketch = { ...recycled, id: 'water.make-up-share', name: 'Make-up for each litre washed', unit: '%', digits: 0, formula: '100 x make-up / water washed' }
  const out: Vital[] = []
  out.push(
    !washing
      ? blind(w, volumeSketch_, 'nothing tells when and how much is washed', 'Wash water meter, or run contact of the washer and the use of its lance')
      : seen(w, volumeSketch_, 'hour', (atMs) => {
          const sum = weekOf('washing', washing.tally.hours.sum(atMs, WEEK_H))
          if (typeof sum === 'string') return withheld(sum, WAIT, [], atMs)
          const value = sum.total / 1000
          return {
            kind: 'told',
            value,
            interval: washing.atMost ? { low: 0, high: value } : interval80(value, [washing.doubt * value, ofStep(washing.signal.resolution) / 1000], 0),
            bound: washing.atMost ? 'at-most' : sum.atLeast ? 'at-least' : null,
            atMs,
            grade: washing.atMost ? doubted(sum.grade) : sum.grade,
            inputs: [found(washing.signal.id, washing.signal.name, sum.total, 'L', atMs, sum.grade)],
            notes: [
              ...(washing.atMost ? ['From the run contact: the pump also runs while nobody pulls the trigger.'] : []),
              ...(sum.atLeast ? ['Something was lost in a reset, a replacement or a gap.'] : []),
            ],
          }
        }),
  )
  out.push(
    !run
      ? blind(w, hours, 'the washer has no run contact', 'Run contact of the washer')
      : (() => {
          const tally = w.running(run)
          return seen(w, hours, 'hour', (atMs) => {
            const sum = weekOf('the washer', tally.hours.sum(atMs, WEEK_H))
            if (typeof sum === 'string') return withheld(sum, WAIT, [], atMs)
            // Each start and stop is known to one sample only; errors of some hundred of them mostly cancel.
            return {
              kind: 'told',
              value: sum.total,
              interval: interval80(sum.total, [0.02 * sum.total, (1 - sum.seen) * WEEK_H * 0.1], 0),
              bound: sum.seen < 0.99 ? 'at-least' : null,
              atMs,
              grade: sum.grade,
              inputs: [found(run.id, 'hours run', sum.total, 'h', atMs, sum.grade)],
              notes: [],
            }
          })
        })(),
  )
  const metered = washing && !washing.atMost ? washing : null
  const missing = [...(makeUp ? [] : ['Make-up water meter']), ...(metered ? [] : ['Wash water meter'])]
  if (!makeUp || !metered) {
    const why = `no balance without ${missing.map((m) => m.toLowerCase()).join(' and ')}`
    return [...out, blind(w, recycled, why, missing.join(', ')), blind(w, share, why, missing.join(', '))]
  }
  const both = (atMs: number): { washed: Sum; made: Sum } | string => {
    const a = weekOf('washing', metered.tally.hours.sum(atMs, WEEK_H))
    const b = weekOf('make-up', makeUp.tally.hours.sum(atMs, WEEK_H))
    return typeof a === 'string' ? a : typeof b === 'string' ? b : { washed: a, made: b }
  }
  const lines = (b: { washed: Sum; made: Sum }, atMs: number): readonly Input[] => [
    found(metered.signal.id, 'washed', b.washed.total, 'L', atMs, b.washed.grade),
    found(makeUp.signal.id, 'make-up', b.made.total, 'L', atMs, b.made.grade),
  ]
  return [
    ...out,
    seen(w, recycled, 'hour', (atMs) => {
      const b = both(atMs)
      if (typeof b === 'string') return withheld(b, WAIT, [], atMs)
      const value = Math.max(0, b.washed.total - b.made.total) / 1000
      const deviations = [
        (metered.doubt * b.washed.total) / 1000,
        (METER_SHARE * b.made.total) / 1000,
        ofStep(metered.signal.resolution) / 1000,
        ofStep(makeUp.signal.resolution) / 1000,
      ]
      return {
        kind: 'told',
        value,
        interval: interval80(value, deviations, 0),
        bound: null,
        atMs,
        grade: worse(b.washed.grade, b.made.grade),
        inputs: lines(b, atMs),
        notes: ['What filled or emptied the tanks meanwhile is in it: over weeks it evens out.'],
      }
    }),
    seen(w, share, 'hour', (atMs) => {
      const b = both(atMs)
      if (typeof b === 'string') return withheld(b, WAIT, [], atMs)
      if (b.washed.total < 500) return withheld('less than 500 L were washed in 7 days: a share of so little says nothing', 'Washing', lines(b, atMs), atMs)
      const value = (100 * b.made.total) / b.washed.total
      return {
        kind: 'told',
        value,
        interval: interval80(value, [value * Math.hypot(metered.doubt, METER_SHARE), (100 * ofStep(makeUp.signal.resolution)) / b.washed.total], 0),
        bound: null,
        atMs,
        grade: worse(b.washed.grade, b.made.grade),
        inputs: lines(b, atMs),
        notes: [],
      }
    }),
  ]
}

/** Hourly levels of the measured tanks, for what filled or emptied them over a week. */
interface Stored {
  readonly litres: (number | null)[]
  readonly grades: (Grade | null)[]
  hour: number
}

function lost(w: Works, gauges: readonly Gauge[]): Vital {
  const { site, makeUp, washing } = w
  const metered = washing && !washing.atMost ? washing : null
  const finished = gauges.find((g) => g.stage.kind === 'finished')
  const rain = site.signals.find((s) => s.quantity === 'rain') ?? null
  const open = site.stages.some((s) => s.kind === 'pad' && s.pad?.cover === 'open')
  const sketch: Sketch = {
    id: 'water.lost',
    name: 'Water lost, 7 days',
    unit: 'L',
    digits: 0,
    inputs: [makeUp?.signal, metered?.signal, ...gauges.map((g) => g.slot.signal)],
    entries: ['blowdown'],
    formula:
      'make-up less what the measured tanks gained less blowdown and haul-off of the site log: carried off on vehicles, evaporated, leaked or spilled. Below 5 % of the water washed it is noise',
    source: 'water balance of the loop; sizes of the doubts: common practice, no source',
    window: 'last 7 full days of hours',
  }
  const missing = [...(makeUp ? [] : ['Make-up water meter']), ...(metered ? [] : ['Wash water meter']), ...(finished ? [] : ['Level of the finished-water tank'])]
  if (!makeUp || !metered || !finished) return blind(w, sketch, `no balance without ${missing.map((m) => m.toLowerCase()).join(' and ')}`, missing.join(', '))
  const size = WEEK_H + 2
  const state = w.memory.of<Record<string, Stored>>('stored', () =>
    Object.fromEntries(gauges.map((g) => [g.stage.id, { litres: Array.from({ length: size }, () => null), grades: Array.from({ length: size }, () => null), hour: -1 }])),
  )
  for (const g of gauges) {
    const s = (state[g.stage.id] ??= { litres: Array.from({ length: size }, () => null), grades: Array.from({ length: size }, () => null), hour: -1 })
    g.slot.listeners.push((x) => {
      const hour = Math.floor(x.atMs / 3_600_000)
      if (hour === s.hour || x.value === null) return
      for (let h = Math.max(s.hour + 1, hour - size + 1); h < hour; h++) s.litres[h % size] = null
      s.hour = hour
      s.litres[hour % size] = g.litres(x.value)
      s.grades[hour % size] = x.grade
    })
  }
  const unmeasuredL =
    site.stages.reduce(
      (sum, s) =>
        sum + (s.volumeL !== null && ['treatment', 'bio', 'sump', 'finished'].includes(s.kind) && !gauges.some((g) => g.stage === s) ? (UNMEASURED_SHARE * s.volumeL) ** 2 : 0),
      0,
    ) ** 0.5
  return seen(w, sketch, 'hour', (atMs) => {
    const made = weekOf('make-up', makeUp.tally.hours.sum(atMs, WEEK_H))
    const wash = weekOf('washing', metered.tally.hours.sum(atMs, WEEK_H))
    if (typeof made === 'string') return withheld(made, WAIT, [], atMs)
    if (typeof wash === 'string') return withheld(wash, WAIT, [], atMs)
    const end = Math.floor(atMs / 3_600_000)
    let gain = 0
    let grade: Grade = worse(made.grade, wash.grade)
    const deviations = [METER_SHARE * made.total, ofStep(makeUp.signal.resolution), unmeasuredL * Math.SQRT2]
    const inputs: Input[] = [found(makeUp.signal.id, 'make-up', made.total, 'L', atMs, made.grade), found(metered.signal.id, 'washed', wash.total, 'L', atMs, wash.grade)]
    for (const g of gauges) {
      const s = state[g.stage.id]
      const pct = valueAt(g.slot, atMs)
      const now = typeof pct === 'number' ? g.litres(pct) : null
      const then = s?.litres[(end - WEEK_H) % size]
      if (!s || now === null || then === undefined || then === null) return withheld(`the level of ${theStage(g.stage)} is not known now and a week ago`, WAIT, inputs, atMs)
      gain += now - then
      grade = worse(worse(grade, g.slot.grade), s.grades[(end - WEEK_H) % size] ?? GOOD)
      deviations.push(LEVEL_SHARE * g.volumeL * Math.SQRT2, ofStep((g.slot.signal.resolution / 100) * g.volumeL) * Math.SQRT2)
      inputs.push(found(g.slot.signal.id, `gained by ${theStage(g.stage)}`, now - then, 'L', atMs, g.slot.grade))
    }
    const fromMs = (end - WEEK_H) * 3_600_000
    const blown = w.book.of('blowdown').filter((n) => n.atMs >= fromMs && n.atMs < end * 3_600_000)
    const blowdown = blown.reduce((sum, n) => sum + (n.value ?? 0) * (n.unit === 'm3' ? 1000 : 1), 0)
    for (const n of blown) inputs.push(found('log', 'blowdown or haul-off', n.value ?? 0, n.unit ?? 'L', n.atMs))
    const value = made.total - gain - blowdown
    const small = Math.abs(value) < 0.05 * wash.total
    return {
      kind: 'told',
      value,
      interval: interval80(value, deviations),
      bound: open && !rain ? 'at-least' : null,
      atMs,
      grade,
      inputs,
      notes: [
        ...(small ? ['Under 5 % of the water washed: noise.'] : []),
        ...(open && !rain ? ['The pad is open and rain is not measured: what rain brought is lost besides.'] : rain ? ['Rain on the pad is not counted: it is lost besides.'] : []),
        ...(blown.some((n) => n.value === undefined) ? ['A blowdown without a volume stands in the log: it is in the loss.'] : []),
      ],
    }
  })
}

function dwell(w: Works): Vital {
  const tanks = biology(w.site)
  const volumes = tanks.flatMap((s) => s.volumeL ?? [])
  const metered = w.washing && !w.washing.atMost ? w.washing : null
  const sketch: Sketch = {
    id: 'water.dwell',
    name: 'Dwell time in the biology',
    unit: 'h',
    digits: 0,
    inputs: [metered?.signal],
    formula: 'litres of treatment unit and bio tanks / mean flow of the water washed, nights included',
    source: 'definition',
    window: 'last 7 full days of hours',
  }
  if (volumes.length < tanks.length || tanks.length === 0)
    return blind(w, sketch, 'the volume of a tank with biology is not in the site file', 'volumeL of each tank in the site file')
  if (!metered) return blind(w, sketch, 'how much water passes is not measured', 'Wash water meter')
  return seen(w, sketch, 'hour', (atMs): Outcome => {
    const sum = weekOf('washing', metered.tally.hours.sum(atMs, WEEK_H))
    if (typeof sum === 'string') return withheld(sum, WAIT, [], atMs)
    if (sum.total < 500) return withheld('less than 500 L passed in 7 days: the water stands', 'Washing', [], atMs)
    const value = dwellH(volumes, sum.total / (WEEK_H * 60))
    return {
      kind: 'told',
      value,
      interval: interval80(value, [value * Math.hypot(metered.doubt, 0.04)], 0),
      bound: null,
      atMs,
      grade: sum.grade,
      inputs: [found(metered.signal.id, 'washed', sum.total, 'L', atMs, sum.grade), ...tanks.map((s) => fact(s.name.toLowerCase(), s.volumeL ?? 0, 'L'))],
      notes: ['A mixed tank lets a third of a slug out later than this and two thirds sooner.'],
    }
  })
}
