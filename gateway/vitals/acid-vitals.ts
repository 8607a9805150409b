/** The buffer of the water: its strength from the sawtooth of dosing, and alkalinity left, which only a kit value can start. */
import { alkalinityFromIdlePh, bufferStrength } from '../process/buffer.ts'
import type { Stage } from '../site/site.ts'
import { airOf } from './air.ts'
import { watchDoses } from './doses.ts'
import { doubted, GOOD, type Grade, worse } from './grade.ts'
import { at, biology, machinesOf, temperatureOf, theStage } from './places.ts'
import { inputOf, valueAt } from './slots.ts'
import { Z80 } from './spread.ts'
import { type Outcome, type Vital, withheld } from './vital.ts'
import { blind, found, PRACTICE, seen, type Sketch, type Works } from './works.ts'

const DAY = 86_400_000
const HOUR = 3_600_000
const NEWEST_DOSES = 10
const LEAST_BEFORE = 10
/** A kit value holds so long, and its doubt grows by so much of itself a week (stroke, strength, make-up, cement dust). Common practice, no source. */
const OLDEST_KIT_MS = 30 * DAY
const KIT_SHARE = 0.08
const DRIFT_PER_WEEK = 0.15
/** Idle so long, with air, and pH rests where carbonate and air put it. */
const IDLE_H = 12

export const acidVitals = (w: Works): readonly Vital[] => [...buffer(w), ...alkalinity(w)]

function buffer(w: Works): readonly Vital[] {
  const { site } = w
  const pumps = machinesOf(site, 'dosing').filter((e) => e.doses === 'acid' || e.doses === 'alum')
  return pumps.flatMap((e) => {
    const stage = site.stages.find((s) => s.id === e.serves[0])
    if (!stage) return []
    const ph = at(site, stage.id, 'ph')
    const run = at(site, e.id, 'run')
    const sketch: Sketch = {
      id: `${stage.id}.buffer`,
      name: `Buffer strength against before, ${stage.name.toLowerCase()}`,
      unit: '%',
      digits: 0,
      tank: stage.id,
      inputs: [ph, run],
      formula: `100 x dose that moves pH by one in the newest ${NEWEST_DOSES} doses / the same in the doses before. The same dose moves pH 0.12 at an alkalinity of 85, 0.24 at 40, 0.43 at 20`,
      source: PRACTICE,
      window: 'newest 120 doses with pH seen before and after mixing',
    }
    if (!ph) return [blind(w, sketch, `pH is not measured in ${theStage(stage)}`, `pH in ${theStage(stage)}`)]
    if (!run) return [blind(w, sketch, `nothing tells when ${e.name.toLowerCase()} doses`, `Run contact or strokes of ${e.name.toLowerCase()}`)]
    const doses = watchDoses(stage.id, w.slot(ph), w.slot(run), w.memory)
    return [
      seen(
        w,
        sketch,
        'event',
        (atMs): Outcome => {
          const { steps } = doses.state
          const newest = steps.slice(-NEWEST_DOSES)
          const before = steps.slice(0, -NEWEST_DOSES)
          const lastMs = newest.at(-1)?.atMs ?? atMs
          if (newest.length < NEWEST_DOSES || before.length < LEAST_BEFORE)
            return withheld(
              `${steps.length} clean doses are known and ${NEWEST_DOSES + LEAST_BEFORE} are needed to compare`,
              'More doses: the comparison needs no reagent',
              [],
              lastMs,
            )
          const now = bufferStrength(newest, doses.settings)
          if (now.kind === 'not-observable') return withheld(now.because, 'A finer pH signal, or a check of dose and probe', [], lastMs)
          const then = bufferStrength(before, doses.settings)
          if (then.kind === 'not-observable') return withheld(`before: ${then.because}`, 'A finer pH signal', [], lastMs)
          const value = (100 * now.amountPerPh.best) / then.amountPerPh.best
          // The intervals of both hold 95 %; in logarithms they add as squares.
          const reach = (Z80 / 2) * Math.hypot(Math.log(now.amountPerPh.high / now.amountPerPh.best), Math.log(then.amountPerPh.high / then.amountPerPh.best))
          const grade = steps.reduce<Grade>((g, s) => worse(g, s.grade), GOOD)
          return {
            kind: 'told',
            value,
            interval: { low: value * Math.exp(-reach), high: value * Math.exp(reach) },
            bound: null,
            atMs: lastMs,
            grade: doses.by === 'dose' ? doubted(grade) : grade,
            inputs: [
              found(run.id, `${doses.by === 's' ? 'seconds of dosing' : 'doses'} for one pH, newest`, now.amountPerPh.best, '', lastMs, grade),
              found(run.id, `${doses.by === 's' ? 'seconds of dosing' : 'doses'} for one pH, before`, then.amountPerPh.best, '', lastMs),
              found(ph.id, 'pH before a dose, middle', now.phBefore, '[pH]', lastMs, grade),
            ],
            notes: [
              'Falls weeks before alkalinity is gone. It is a ratio: alkalinity itself needs a kit.',
              ...(doses.by === 'dose' ? ['The pump is looked at too seldom to time a dose: each dose seen counts as one.'] : []),
            ],
          }
        },
        () => doses.state.version,
      ),
    ]
  })
}

function alkalinity(w: Works): readonly Vital[] {
  const stages = biology(w.site)
  const first = stages[0]
  return first ? [alkalinityLeft(w, first)] : []
}

const KIT = 'A kit reading of alkalinity in the site log (kit, alkalinity, mg/L)'

function alkalinityLeft(w: Works, stage: Stage): Vital {
  const { site } = w
  const phSignal = at(site, stage.id, 'ph')
  const t = temperatureOf(site, stage.id)
  const ph = phSignal ? w.slot(phSignal) : null
  const temperature = t ? w.slot(t.signal) : null
  const air = airOf(site, stage.id, w.slots)
  const sketch: Sketch = {
    id: `${stage.id}.alkalinity`,
    name: `Alkalinity left, ${stage.name.toLowerCase()}`,
    unit: 'mg/L',
    digits: 0,
    tank: stage.id,
    inputs: [phSignal, t?.signal],
    entries: ['kit'],
    formula: `the newest kit value, not older than 30 days; its interval grows by ${100 * DRIFT_PER_WEEK} % a week, and is cut to what pH at rest allows (${IDLE_H} h or more of air without washing bound alkalinity within a factor of two)`,
    source: 'carbonate in balance with air: Plummer & Busenberg 1982 constants; growth: common practice, no source',
    window: '30 days from a kit value',
  }
  return seen(w, sketch, 'hour', (atMs) => {
    const kits = w.book
      .of('kit')
      .filter(
        (n) => /alkalin/i.test(n.item ?? '') && n.value !== undefined && !n.below && (n.about === undefined || n.about === stage.id || n.about === phSignal?.id) && n.atMs <= atMs,
      )
    const kit = kits.at(-1)
    if (!kit || kit.value === undefined) return withheld('no kit value of alkalinity stands in the site log: no probe measures it', KIT, [], atMs)
    if (atMs - kit.atMs > OLDEST_KIT_MS)
      return withheld(
        `the newest kit value is ${Math.floor((atMs - kit.atMs) / DAY)} days old and may be 30`,
        KIT,
        [found('log', 'kit value', kit.value, kit.unit ?? 'mg/L', kit.atMs)],
        atMs,
      )
    if (kit.unit !== undefined && !/^mg\/l/i.test(kit.unit))
      return withheld(`the kit value is in ${kit.unit}: mg/L as CaCO3 is needed`, KIT, [found('log', 'kit value', kit.value, kit.unit, kit.atMs)], atMs)
    const weeks = (atMs - kit.atMs) / (7 * DAY)
    const share = Z80 * Math.hypot(KIT_SHARE, DRIFT_PER_WEEK * weeks)
    let low = Math.max(0, kit.value * (1 - share))
    let high = kit.value * (1 + share)
    const inputs = [found('log', 'kit value', kit.value, 'mg/L', kit.atMs)]
    const notes = [`The kit value is ${Math.floor((atMs - kit.atMs) / DAY)} days old.`]
    let grade: Grade = weeks > 2 ? doubted(GOOD) : GOOD
    const lastWash = w.washing?.lastMs() ?? w.washing?.sinceMs() ?? null
    const v = ph ? valueAt(ph, atMs) : 'none'
    const c = temperature ? valueAt(temperature, atMs) : 'none'
    if (
      ph &&
      temperature &&
      typeof v === 'number' &&
      typeof c === 'number' &&
      lastWash !== null &&
      atMs - lastWash >= IDLE_H * HOUR &&
      air?.on(atMs) === true &&
      c >= 0 &&
      c <= 40
    ) {
      const idle = alkalinityFromIdlePh(Math.min(14, Math.max(0, v)), c)
      if (!('because' in idle)) {
        inputs.push(inputOf(ph), inputOf(temperature))
        grade = worse(grade, worse(ph.grade, temperature.grade))
        if (idle.high < low || idle.low > high)
          notes.push(`pH at rest speaks for ${idle.low.toFixed(0)} to ${idle.high.toFixed(0)} mg/L instead: measure again, and check the probe.`)
        else {
          low = Math.max(low, idle.low)
          high = Math.min(high, idle.high)
          notes.push(`pH at rest allows ${idle.low.toFixed(0)} to ${idle.high.toFixed(0)} mg/L.`)
        }
      }
    }
    const value = Math.min(high, Math.max(low, kit.value))
    return { kind: 'told', value, interval: { low, high }, bound: null, atMs, grade, inputs, notes }
  })
}
