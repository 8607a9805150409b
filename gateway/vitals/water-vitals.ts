/** Water of a week: washed, recycled, and how long it stays in the biology. */
import { dwellH } from '../process/hydraulics.ts'
import { doubted, worse } from './grade.ts'
import type { Sum } from './hours.ts'
import { lossVital } from './loss-vital.ts'
import { biology, washerSignal } from './places.ts'
import { interval80, ofStep } from './spread.ts'
import { type Input, type Outcome, type Vital, withheld } from './vital.ts'
import { LEAST_WASHED_L, METER_SHARE, WAIT, WEEK_H, weekOf } from './week.ts'
import { blind, fact, found, PRACTICE, seen, type Sketch, type Works } from './works.ts'

export const waterVitals = (w: Works): readonly Vital[] => [...washed(w), lossVital(w), dwell(w)]

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
      if (b.washed.total < LEAST_WASHED_L)
        return withheld(`less than ${LEAST_WASHED_L} L were washed in 7 days: a share of so little says nothing`, 'Washing', lines(b, atMs), atMs)
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
    if (sum.total < LEAST_WASHED_L) return withheld(`less than ${LEAST_WASHED_L} L passed in 7 days: the water stands`, 'Washing', [], atMs)
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
