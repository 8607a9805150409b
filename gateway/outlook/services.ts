/**
 * When are the hours of a machine up? By its hour meter, else by its run contact, from the last replacement or service in the site log. How many
 * hours a service holds stands in the site file (`serviceEveryH`): trade pages disagree by a factor of five, so nothing is assumed.
 */
import type { Equipment, Signal } from '../site/site.ts'
import { demandOf } from '../trends/demand.ts'
import { type ComingDay, runOut } from '../trends/run-out.ts'
import { byDay, counted } from './day-amounts.ts'
import { type Expected, inSentence, waiting } from './expected.ts'
import { standing, type StoredLoop } from './stored.ts'

export function services(s: StoredLoop, coming: readonly ComingDay[]): readonly Expected[] {
  return s.site.equipment.flatMap((e) => {
    const at = (quantity: Signal['quantity']): Signal | undefined => s.site.signals.find((x) => x.at === e.id && x.quantity === quantity)
    const [meter, run] = [at('hours'), at('run')]
    if (e.serviceEveryH === undefined && e.kind !== 'washer') return []
    return [service(s, e, meter, run, coming)]
  })
}

function service(s: StoredLoop, e: Equipment, meter: Signal | undefined, run: Signal | undefined, coming: readonly ComingDay[]): Expected {
  const line = { id: e.id, what: `Service of ${inSentence(e.name)}`, stage: e.serves[0] ?? null, kind: 'service' as const }
  const blind = (because: string, unlock: string): Expected => ({ ...line, outlook: { kind: 'not-observable', because }, basis: null, left: null, unlock })
  if (!meter && !run) return blind('its hours are not counted', `Hour meter or run contact of ${inSentence(e.name)}`)
  if (e.serviceEveryH === undefined) return blind('how many hours a service holds is not in the site file', `serviceEveryH of ${e.id} in the site file`)
  const last = standing(s.log, 'replacement').findLast((x) => x.about === e.id || x.about === meter?.id)
  const firstMs = s.days[0]?.fromMs ?? s.nowMs
  if (!last || last.atMs < firstMs)
    return blind(`no service of it stands in the site log in ${s.days.length} days`, `The next service of ${inSentence(e.name)} in the site log (replacement, about ${e.id})`)
  const hours = hoursOf(s, meter, run)
  const known = hours.perDay.filter((v) => v !== null)
  const mean = known.length === 0 ? 0 : known.reduce((sum, v) => sum + v, 0) / known.length
  let gone = hours.today ?? 0
  let guessed = 0
  s.days.forEach((d, i) => {
    if (d.toMs <= last.atMs) return
    const share = d.fromMs >= last.atMs ? 1 : (d.toMs - last.atMs) / (d.toMs - d.fromMs)
    const v = hours.perDay[i] ?? null
    gone += share * (v ?? mean)
    if (v === null || share < 1) guessed += (share * (v ?? mean)) ** 2
  })
  const demand = demandOf(s.days.map((d, i) => ({ kind: d.kind, amount: hours.perDay[i] ?? null })))
  const left = e.serviceEveryH - gone
  const outlook = runOut({ left, error: Math.sqrt(guessed) }, demand, null, coming)
  const told = (outlook.kind === 'forecast' || outlook.kind === 'beyond') && !('because' in demand)
  return {
    ...line,
    outlook,
    basis: told ? `at ${demand.all.mean.toFixed(1)} h a day, by its ${meter ? 'hour meter' : 'run contact'}` : null,
    left: { value: Math.max(0, left), unit: 'h' },
    unlock: waiting(outlook),
  }
}

function hoursOf(s: StoredLoop, meter: Signal | undefined, run: Signal | undefined): { readonly perDay: readonly (number | null)[]; readonly today: number | null } {
  if (meter) {
    const perH = meter.unit === 'min' ? 60 : meter.unit === 's' ? 3600 : 1
    const all = counted(meter, s.hours.get(meter.id) ?? [], s.log)
    const [today] = byDay(all, [{ fromMs: s.days.at(-1)?.toMs ?? s.nowMs, toMs: s.nowMs }])
    return { perDay: byDay(all, s.days).map((v) => (v === null ? null : v / perH)), today: today === null || today === undefined ? null : today / perH }
  }
  const of = run ? (s.runHours.get(run.id) ?? []) : []
  return { perDay: of.slice(0, s.days.length), today: of[s.days.length] ?? null }
}
