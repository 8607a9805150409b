/**
 * What the server tells, in the units of the reader. Turned once, where it comes in: every figure of the page, its limits, axes, tables and
 * files, then speaks the same unit. What is written back (limits of an alarm, entries of the log) never passes here.
 */
import type { AlarmBody, CourseBody, ForecastsBody, HistoryBody, JournalBody, LiveMessage, LoopBody, LoopDetailBody, NormalBody, SignalBody, VitalBody } from '../../server/wire.ts'
import { digitsIn, turned, turnedBy, unitIn, type InUnit, type UnitSystem } from '../words/units.ts'

type Maybe = number | null
const at = (v: Maybe, to: InUnit | null): Maybe => (v === null ? null : turned(v, to))
const all = (list: readonly Maybe[], to: InUnit | null): Maybe[] => list.map((v) => at(v, to))

export interface InUnits {
  alarm(a: AlarmBody): AlarmBody
  loop<L extends LoopBody>(l: L): L
  detail(l: LoopDetailBody): LoopDetailBody
  history(h: HistoryBody): HistoryBody
  course(c: CourseBody): CourseBody
  journal(j: JournalBody): JournalBody
  forecasts(f: ForecastsBody): ForecastsBody
  normal(n: NormalBody): NormalBody
  message(m: LiveMessage): LiveMessage
}

export function inUnits(system: UnitSystem): InUnits {
  /** Unit of each signal and vital, by site and id, as the loop's own page told it. */
  const known = new Map<string, Map<string, InUnit | null>>()

  const signalIn = (s: SignalBody): SignalBody => {
    const to = unitIn(system, s.unitText)
    if (!to) return s
    return {
      ...s,
      unit: to.unit,
      unitText: to.text,
      unitSpoken: to.spoken,
      digits: digitsIn(s.digits, to),
      range: [turned(s.range[0], to), turned(s.range[1], to)],
      limits: s.limits.map((l) => ({ ...l, value: turned(l.value, to) })),
      value: at(s.value, to),
    }
  }
  const vitalIn = (v: VitalBody): VitalBody => {
    const inputs = v.inputs.map((i) => {
      const to = unitIn(system, i.unitText)
      return to ? { ...i, value: at(i.value, to), unitText: to.text } : i
    })
    const to = unitIn(system, v.unitText)
    if (!to) return { ...v, inputs }
    const interval = v.interval && { low: turned(v.interval.low, to), high: at(v.interval.high, to) }
    return { ...v, inputs, unit: to.unit, unitText: to.text, unitSpoken: to.spoken, digits: digitsIn(v.digits, to), value: at(v.value, to), interval }
  }
  const alarm = (a: AlarmBody): AlarmBody => {
    const full = unitIn(system, a.unit)
    if (!full) return a
    const to = a.difference ? { ...full, add: 0 } : full
    return { ...a, unit: to.text, digits: digitsIn(a.digits, to), value: at(a.value, to), valueNow: at(a.valueNow, to), limit: at(a.limit, to) }
  }
  const loop = <L extends LoopBody>(l: L): L => ({ ...l, alarms: l.alarms.map(alarm) })

  const turning: InUnits = {
    alarm,
    loop,
    detail(l) {
      const units = new Map<string, InUnit | null>()
      for (const s of [...l.signals, ...l.vitals]) units.set(s.id, unitIn(system, s.unitText))
      known.set(l.id, units)
      return { ...loop(l), signals: l.signals.map(signalIn), vitals: l.vitals.map(vitalIn) }
    },
    history(h) {
      const to = unitIn(system, h.unitText)
      if (!to) return h
      const columns = { min: all(h.min, to), max: all(h.max, to), mean: all(h.mean, to), first: all(h.first, to), last: all(h.last, to) }
      return { ...h, unit: to.unit, unitText: to.text, ...columns }
    },
    course(c) {
      const to = unitIn(system, c.unitText)
      if (!to) return c
      const line = c.line && {
        ...c.line,
        value: turned(c.line.value, to),
        perDay: { low: turnedBy(c.line.perDay.low, to), best: turnedBy(c.line.perDay.best, to), high: turnedBy(c.line.perDay.high, to) },
      }
      const step = c.step && { ...c.step, before: turned(c.step.before, to), after: turned(c.step.after, to) }
      return { ...c, unit: to.unit, unitText: to.text, line, step }
    },
    journal: (j) => ({
      ...j,
      events: j.events.map((e) => {
        const to = unitIn(system, e.unit)
        return to && e.digits !== null ? { ...e, unit: to.text, digits: digitsIn(e.digits, to), value: at(e.value, to), limit: at(e.limit, to) } : e
      }),
    }),
    forecasts: (f) => ({
      ...f,
      expected: f.expected.map((e) => {
        const to = e.left && unitIn(system, e.left.unit)
        return e.left && to ? { ...e, left: { value: turned(e.left.value, to), unit: to.text } } : e
      }),
    }),
    normal(n) {
      const units = known.get(n.site)
      return {
        ...n,
        // A band whose unit is not known yet is left out, never shown in another unit than its signal.
        signals: n.signals
          .filter((s) => system === 'metric' || units?.has(s.id))
          .map((s) => {
            const to = units?.get(s.id) ?? null
            if (!to) return s
            const against = s.against && {
              ...s.against,
              offFirst: s.against.offFirst === null ? null : turnedBy(s.against.offFirst, to),
              offBand: s.against.offBand === null ? null : turnedBy(s.against.offBand, to),
            }
            return {
              ...s,
              against,
              band: s.band && { ...s.band, low: turned(s.band.low, to), middle: turned(s.band.middle, to), high: turned(s.band.high, to) },
              first: s.first && { ...s.first, value: turned(s.first.value, to), sd: turnedBy(s.first.sd, to) },
            }
          }),
      }
    },
    message(m) {
      if (system === 'metric') return m
      if (m.t === 'hello' || m.t === 'loops') return { ...m, loops: m.loops.map(loop) }
      if (m.t === 'alarm') return { ...m, alarm: alarm(m.alarm) }
      if (m.t !== 'values') return m
      const units = known.get(m.site)
      // Before the loop itself has come nothing says which unit a figure has: the loop brings the newest ones along.
      return { ...m, values: m.values.flatMap(([id, v, ...rest]) => (units?.has(id) ? [[id, at(v, units.get(id) ?? null), ...rest] as (typeof m.values)[number]] : [])) }
    },
  }
  return turning
}
