/** What left the loop in a week, with an interval: the water balance. */
import { gaugesOf, LEVEL_SHARE } from './gauges.ts'
import { GOOD, type Grade, worse } from './grade.ts'
import { theStage } from './places.ts'
import { valueAt } from './slots.ts'
import { interval80, ofStep } from './spread.ts'
import { type Input, type Vital, withheld } from './vital.ts'
import { METER_SHARE, WAIT, WEEK_H, weekOf } from './week.ts'
import { blind, found, seen, type Sketch, type Works } from './works.ts'

/** A constant-overflow tank nobody measures, share of it, standard deviation. Common practice, no source. */
const UNMEASURED_SHARE = 0.01

/** Hourly levels of the measured tanks, for what filled or emptied them over a week. */
interface Stored {
  readonly litres: (number | null)[]
  readonly grades: (Grade | null)[]
  hour: number
}

export function lossVital(w: Works): Vital {
  const gauges = gaugesOf(w)
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
