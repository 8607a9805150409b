/** What washing does to a tank's oxygen: the dip against the one it should have been, and how long the way back took. */
import type { Stage } from '../site/site.ts'
import { BACK_WITHIN, judgeDips, LEAST_LEARNED, SLOW_RECOVERY_MIN, watchDips } from './dips.ts'
import { doubted, type Grade, worse } from './grade.ts'
import type { Oxygen } from './oxygen-vitals.ts'
import { at, theStage } from './places.ts'
import { type Vital, withheld } from './vital.ts'
import { blind, found, PRACTICE, seen, type Sketch, type Works } from './works.ts'

export function washVitals(w: Works, stage: Stage, o: Oxygen | null): readonly Vital[] {
  const place = stage.name.toLowerCase()
  const inputs = [o?.oxygen.signal, o?.temperature.slot.signal, w.washing?.signal, ...(o?.air?.slots.map((s) => s.signal) ?? [])]
  const dip: Sketch = {
    id: `${stage.id}.dip`,
    name: `Oxygen dip against predicted, ${place}`,
    unit: '%',
    digits: 0,
    tank: stage.id,
    inputs,
    formula:
      '100 x dip of the newest wash blocks (three, or 2 m3) / dip predicted from the most washed in two hours and the water temperature, learned from earlier blocks of this loop',
    source: PRACTICE,
    window: `newest 80 wash blocks; nothing is told before ${LEAST_LEARNED} are known`,
  }
  const recovery: Sketch = {
    id: `${stage.id}.recovery`,
    name: `Recovery after washing, ${place}`,
    unit: 'min',
    digits: 0,
    tank: stage.id,
    inputs,
    formula: `minutes from the end of washing until the five-minute mean of oxygen is back within ${BACK_WITHIN} mg/L of what it was at rest before`,
    source: PRACTICE,
    window: 'one wash block',
  }
  if (!o || !w.washing) {
    if (stage.kind !== 'treatment' && !o) return []
    const why = !o
      ? at(w.site, stage.id, 'do')
        ? 'the temperature of the water is not measured'
        : `oxygen is not measured in ${theStage(stage)}`
      : 'nothing tells when and how much is washed'
    const unlock = !o ? `Oxygen and temperature in ${theStage(stage)}` : 'Wash meter, or run contact of the washer'
    return [blind(w, dip, why, unlock), blind(w, recovery, why, unlock)]
  }
  const { washing } = w
  const dips = watchDips(stage.id, o.oxygen, o.temperature.slot, o.air, washing, w.memory)
  const doubt = (g: Grade): Grade => (washing.how === 'contact' || !o.temperature.own ? doubted(g, 'substitute') : g)
  return [
    seen(
      w,
      dip,
      'event',
      (atMs) => {
        const { blocks, notJudged } = dips.state
        if (notJudged) return withheld(notJudged, 'A wash block with air on and oxygen seen before and during it', [], atMs)
        const j = judgeDips(blocks)
        const last = blocks.at(-1)
        if (typeof j === 'string') return withheld(j, 'Some weeks of washing with oxygen, temperature and washed volume seen', [], last?.lastMs ?? atMs)
        const grade = j.blocks.reduce<Grade>(
          (g, b) => worse(g, b.grade),
          blocks.reduce<Grade>((g, b) => worse(g, b.grade), doubt(j.blocks[0]?.grade ?? { quality: 'uncertain', sub: 'initial', qc: 2 })),
        )
        return {
          kind: 'told',
          value: 100 * j.ratio,
          interval: { low: 100 * j.low, high: 100 * j.high },
          bound: null,
          atMs: last?.lastMs ?? atMs,
          grade,
          inputs: [
            found(o.oxygen.signal.id, `dip, ${j.blocks.length} blocks together`, j.dip, 'mg/L', last?.lastMs ?? null, grade),
            found(o.oxygen.signal.id, `dip predicted from ${j.learned} blocks`, j.predicted, 'mg/L', last?.lastMs ?? null, grade),
            found(
              washing.signal.id,
              'washed in these blocks',
              j.blocks.reduce((sum, b) => sum + b.washedL, 0),
              'L',
              last?.lastMs ?? null,
            ),
          ],
          notes: [
            'Under 40 % over three blocks: the biology eats less than it should, whatever the cause.',
            ...(washing.how === 'contact' ? ['Washed volume is taken from the run contact, pauses of the trigger included.'] : []),
          ],
        }
      },
      () => dips.state.blockVersion,
    ),
    seen(
      w,
      recovery,
      'event',
      (atMs) => {
        const r = dips.state.recovery
        if (!r) return withheld(dips.state.noRecovery ?? 'no wash with a dip of 1.5 mg/L or more was seen yet', 'A wash large enough to move oxygen', [], atMs)
        return {
          kind: 'told',
          value: r.minutes,
          interval: { low: Math.max(0, r.minutes - 5), high: r.atLeast ? null : r.minutes + 5 },
          bound: r.atLeast ? 'at-least' : null,
          atMs: r.fromMs + r.minutes * 60_000,
          grade: doubt(r.grade),
          inputs: [found(o.oxygen.signal.id, 'dip', r.dipMgPerL, 'mg/L', r.fromMs, r.grade)],
          notes: r.atLeast ? [`Not back ${SLOW_RECOVERY_MIN / 60} h after the last wash.`] : ['Three times as long as usual would speak for fouled diffusers or a heavy load.'],
        }
      },
      () => dips.state.recoveryVersion,
    ),
  ]
}
