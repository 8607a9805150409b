/** Water in each tank: litres, what it loses at rest, and how long the finished water lasts. */
import { EMPTY_PCT } from '../alarms/defaults-water.ts'
import type { Stage } from '../site/site.ts'
import { airOf } from './air.ts'
import { type Gauge, gaugesOf, LEVEL_SHARE } from './gauges.ts'
import { worst } from './grade.ts'
import { watchNights } from './nights.ts'
import { biology, lanceOf, levelOf, stageOf, theStage, transferRuns, washerSignal } from './places.ts'
import { inputOf, type Slot, valueAt } from './slots.ts'
import { interval80, ofStep } from './spread.ts'
import { type Vital, withheld } from './vital.ts'
import { blind, fact, found, PRACTICE, seen, type Sketch, type Works } from './works.ts'

/** A lance gives what its nozzle and pump let through, give or take. Common practice, no source. */
const LANCE_SHARE = 0.05

export function tankVitals(w: Works): readonly Vital[] {
  const gauges = gaugesOf(w)
  return [...gauges.flatMap((g) => [volume(w, g), leak(w, g)]), ...noGauge(w, gauges), minutesLeft(w, gauges)]
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
