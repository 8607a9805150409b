/**
 * Which loop gets which default alarm: for each line of the trade's correction table the alarm it asks for, on loops whose signals can tell, and nowhere
 * else. The rows (limits, times, what was struck): common practice, no source; not yet tuned on data.
 */
import { readdirSync, readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import type { AlarmDef } from '../../gateway/alarms/alarm.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'

const folder = new URL('../../simulator/fleets/demo/', import.meta.url)
const text = (name: string): string => readFileSync(new URL(`${name}.yaml`, folder), 'utf8')
function siteOf(yaml: string): Site {
  const r = readSiteFile('demo.yaml', yaml)
  if (!r.ok) throw new Error(JSON.stringify(r.faults))
  return r.site
}
const RICH = text('kestrow-berth-3')
const NORMAL = text('ullenwick-bus-north')
const POOR = text('saltrigg-boat-park')
const levels = { poor: siteOf(POOR), normal: siteOf(NORMAL), rich: siteOf(RICH) } as const

const defs = (site: Site): ReadonlyMap<string, AlarmDef> => new Map(defaultAlarms(site).defs.map((d) => [d.id.slice(site.id.length + 1), d]))
const without = (yaml: string, ...signals: readonly string[]): Site =>
  siteOf(
    yaml
      .split('\n')
      .filter((l) => !signals.some((s) => l.startsWith(`  ${s}:`)))
      .join('\n'),
  )

const MIN = 60_000
const H = 60 * MIN

// Row, alarm, its priority, what its rule must hold, where it stands (p poor, n normal, r rich), and the signals without which it must not be there.
test.each([
  ['frost is told by the cabinet', 'cabinet.temperature.low', 'low', { kind: 'limit', limit: 3 }, 'pn', ['cabinet.temperature']],
  ['and within the hour below 1 C', 'cabinet.temperature.low-low', 'medium', { kind: 'limit', limit: 1, onDelayMs: 30 * MIN }, 'pn', ['cabinet.temperature']],
  ['little oxygen for an hour outside washing', 'tu.do.low', 'low', { limit: 2, onDelayMs: H, when: { idle: 'hp.run' } }, 'nr', ['tu.do']],
  ['no way back 3 h after the last wash', 'tu.recovery.high', 'low', { kind: 'limit', signal: 'tu.recovery', limit: 179 }, 'nr', ['tu.do']],
  ['almost no oxygen for 30 min and nobody washes', 'tu.do.low-low', 'medium', { limit: 0.5, onDelayMs: 30 * MIN, when: { idle: 'hp.run' } }, 'nr', ['tu.do']],
  ['the dip of a wash is missing', 'tu.dip.low', 'low', { kind: 'limit', signal: 'tu.dip', side: 'low', limit: 40 }, 'nr', ['tu.do']],
  ['and a second sign says it is poison', 'tu.dip.poisoned', 'medium', { kind: 'all-of', of: [{ limit: 25 }, { kind: 'any-of' }] }, 'nr', ['tu.do']],
  ['no air by pressure', 'blower.no-air', 'high', { kind: 'no-air', onDelayMs: 10 * MIN, fastOnDelayMs: 3 * MIN }, 'pnr', ['blower.pressure']],
  ['power lost for 15 min', 'mains.present.absent', 'medium', { value: 0, onDelayMs: 15 * MIN }, 'pnr', ['mains.present']],
  ['silent for 2 h', 'site.silent', 'low', { afterMs: 2 * H }, 'pnr', []],
  ['alkaline for an hour', 'tu.ph.high', 'low', { limit: 9, onDelayMs: H }, 'nr', ['tu.ph']],
  ['far too alkaline for 20 min', 'tu.ph.high-high', 'medium', { limit: 9.5, onDelayMs: 20 * MIN }, 'nr', ['tu.ph']],
  ['acid for 15 min', 'tu.ph.low-low', 'medium', { limit: 5.5, onDelayMs: 15 * MIN }, 'nr', ['tu.ph']],
  ['acid while acid is dosed', 'tu.ph.low-low-acid', 'high', { limit: 5.5, when: { signal: 'acid.run' } }, 'nr', ['tu.ph']],
  ['no answer to five doses', 'tu.ph.no-answer', 'low', { kind: 'no-response', doses: 5 }, 'nr', ['acid.run']],
  ['and it keeps dosing', 'tu.ph.no-answer-on', 'medium', { kind: 'no-response', doses: 10 }, 'nr', ['tu.ph']],
  ['one run longer than three longest pulses', 'acid.run.long', 'medium', { kind: 'over-run', factor: 3 }, 'nr', ['acid.run']],
  ['twice the dose the washing asks for', 'acid.run.day', 'low', { kind: 'day-total', factor: 2 }, 'nr', ['acid.run']],
  ['redox falls by a step without oxygen', 'bio1.orp.fall', 'medium', { kind: 'all-of', of: [{ limit: -150, withinMs: 2 * H }, { limit: 0.5 }] }, 'r', ['bio1.orp']],
  ['redox rises by a step with ozone on or oxygen rising', 'bio1.orp.rise', 'medium', { kind: 'all-of', withinMs: 2 * H }, 'r', ['bio1.orp']],
  ['two ozone runs that reach less', 'finished.orp.weak', 'low', { kind: 'per-run', take: 'max', limit: -150, times: 2 }, 'r', ['ozone.run']],
  ['less than 30 min of washing', 'finished.level.low', 'low', { belowMin: 30 }, 'nr', ['finished.level']],
  ['less than 10 min of washing', 'finished.level.low-low', 'medium', { belowMin: 10 }, 'nr', ['finished.level']],
  ['water in the containment for a minute', 'containment.leak.wet', 'high', { value: 1, onDelayMs: MIN }, 'r', ['containment.leak']],
  ['ozone at its warning level', 'room.ozone.high', 'medium', { limit: 0.05 }, 'r', ['room.ozone']],
  ['ozone at its ceiling', 'room.ozone.high-high', 'high', { limit: 0.1 }, 'r', ['room.ozone']],
  ['hydrogen sulphide at its ceiling', 'sump.h2s.high-high', 'high', { limit: 10 }, 'r', ['sump.h2s']],
  [
    'cloudy against its own median',
    'finished.turbidity.cloudy',
    'low',
    { kind: 'all-of', of: [{ as: 'ratio', limit: 2 }, { limit: 15 }], onDelayMs: 2 * H },
    'r',
    ['finished.turbidity'],
  ],
  ['make-up that runs on', 'makeup.volume.runs-on', 'low', { kind: 'rate', when: { idleForMs: 2 * H } }, 'nr', ['makeup.volume']],
  ['twice the make-up of a day', 'makeup.volume.day', 'low', { kind: 'day-total', factor: 2 }, 'nr', ['makeup.volume']],
  ['water lost at rest', 'water.leak', 'low', { kind: 'any-of' }, 'nr', ['finished.level', 'sump.level', 'tu.level', 'bio1.level']],
  ['the balance of the week', 'water.lost.more', 'low', { kind: 'deviation', limit: 1.5 }, 'nr', ['makeup.volume']],
  ['the transfer pump moves nothing', 'transfer.no-effect', 'medium', { kind: 'no-effect' }, 'nr', ['transfer.run']],
  ['the transfer pump draws too little', 'transfer.current.light', 'low', { kind: 'deviation', limit: 0.75, when: { signal: 'transfer.run' } }, 'r', ['transfer.current']],
  ['phases that are not alike', 'supply.unbalance', 'low', { kind: 'any-of' }, 'r', ['mains.l2']],
  ['a phase that is missing', 'supply.phase', 'medium', { kind: 'any-of' }, 'r', ['mains.l3']],
  ['no ozone through a day of washing', 'ozone.run.idle', 'low', { kind: 'stuck', through: { signal: 'hp.run', settleMs: H, times: 12 } }, 'nr', ['ozone.run']],
  ['the transfer pump runs on though nobody washes', 'transfer.inflow', 'low', { kind: 'state', value: 1, when: { idle: 'hp.run', idleForMs: 30 * MIN } }, 'pnr', ['transfer.run']],
  ['air pressure that creeps up', 'blower.pressure.creep', 'alert', { kind: 'drift', side: 'high', spanMs: 21 * 24 * H }, 'nr', ['blower.pressure']],
  ['pH steps up by a can of degreaser', 'tu.ph.rise', 'low', { kind: 'rate', side: 'high', limit: 1.2, spanMs: 30 * MIN }, 'nr', ['tu.ph']],
  ['pH at rest that falls for weeks', 'tu.ph.falling', 'low', { kind: 'drift', side: 'low', perDay: -0.01, when: { idleForMs: 6 * H } }, 'nr', ['tu.ph']],
  ['not washed for ten days', 'site.unfed', 'alert', { kind: 'stuck', forMs: 240 * H, through: null }, 'pnr', ['hp.run', 'hp.volume']],
  ['paper that stands still', 'filter.index.still', 'low', { kind: 'stuck' }, 'nr', ['filter.index']],
  ['the roll at its end', 'filter.roll-end.reached', 'alert', { value: 1 }, 'pnr', ['filter.roll-end']],
] as const)('%s: %s is %s, where the loop has the signals, and not where it lacks them', (_, key, priority, rule, where, needs) => {
  for (const [level, site] of Object.entries(levels)) {
    const d = defs(site).get(key)
    if (!where.includes(level.slice(0, 1))) {
      expect(d, `${level} has no such signals`).toBeUndefined()
      continue
    }
    expect(d?.priority, level).toBe(priority)
    expect(d?.rule, level).toMatchObject(level === 'poor' || key !== 'transfer.no-effect' ? rule : { kind: 'no-effect' })
  }
  const [level] = where
  const yaml = level === 'r' ? RICH : where.includes('n') ? NORMAL : POOR
  const blind = needs.length > 0 ? defs(without(yaml, ...needs)).get(key) : undefined
  // Air without its pressure falls back on the contact; that is a row of its own.
  if (key === 'blower.no-air') expect(blind?.rule).toMatchObject({ proof: null, run: 'blower.run' })
  else expect(blind).toBeUndefined()
})

test('uptake is compared like with like only where a timer stops the air: three tests below 60 %, or one that is surely below 30 %', () => {
  expect(defs(levels.rich).has('tu.uptake.low')).toBe(false)
  const timed = defs(siteOf(RICH.replace('serves: [tu, bio1, bio2], nameplateA: 4.6 }', 'serves: [tu, bio1, bio2], nameplateA: 4.6, longestPlannedOff: 20min }')))
  expect(timed.get('tu.uptake.low')).toMatchObject({ priority: 'low', rule: { signal: 'tu.uptake.like', limit: 60, nOfM: { n: 3, m: 3 } } })
  expect(timed.get('tu.uptake.low-low')).toMatchObject({ priority: 'medium', rule: { limit: 30, end: 'high' } })
  // An air-off test that goes on for longer than planned is found by the air, which no test holds back.
  expect(timed.get('blower.no-air')?.rule).toMatchObject({ onDelayMs: 25 * MIN })
  expect(timed.get('blower.no-air')?.rule).not.toHaveProperty('when')
})

test('what is work for the due list is no alarm: conductivity, drums, hours, high air pressure, index rate; nor a fixed limit on redox or turbidity, nor on the cold of a tank', () => {
  for (const site of Object.values(levels)) {
    const keys = [...defs(site).keys()]
    for (const struck of [
      'conductivity',
      'acid.level',
      'nutrient.level',
      '.hours',
      'pressure.high',
      'index.high',
      'temperature.low-low.tu',
      'orp.low',
      'orp.high',
      'turbidity.high',
      'tu.temperature.low',
      'finished.level.high',
    ])
      expect(
        keys.filter((k) => k.includes(struck) && !k.endsWith('.blind')),
        struck,
      ).toEqual([])
  }
})

test('a row that used to stop a machine names the protection it counts on, and its first step says whether there is one', () => {
  const counts = (site: Site) => [...defs(site)].filter(([, d]) => d.protection !== null).map(([k, d]) => [k, d.protection])
  expect(Object.fromEntries(counts(levels.rich))).toMatchObject({
    'acid.run.long': 'acid-max-run',
    'tu.ph.low-low-acid': 'acid-max-run',
    'sump.level.high-high': 'sump-high-high',
    'finished.level.low-low': 'finished-low-low',
    'mains.present.absent': 'restart-after-power',
    'room.ozone.high-high': 'ozone-beacon',
    'sump.h2s.high-high': 'h2s-beacon',
  })
  expect(defs(levels.rich).get('acid.run.long')?.action[0]).toMatch(/the local timer should have stopped the acid pump/)
  const bare = siteOf(
    RICH.replace(/ {2}acid-max-run: .*present: true/, '  acid-max-run: { what: "Timer", present: false').replace(', provedOn: "2026-10-29" }\n  sump', ' }\n  sump'),
  )
  const without = defs(bare).get('acid.run.long')
  expect(without?.action[0]).toMatch(/no timer stops the acid pump here/)
  // Its absence stands on the page of the loop; it makes no alarm louder.
  expect(without?.priority).toBe(defs(levels.rich).get('acid.run.long')?.priority)
})

test('a redox potential whose name gives no reference electrode is pointed out', () => {
  expect(defaultAlarms(levels.rich).warnings).toEqual([])
  expect(defaultAlarms(siteOf(RICH.replace('"Redox potential, bio tank 1 (Ag/AgCl)"', '"Redox potential, bio tank 1"'))).warnings).toEqual([
    expect.stringMatching(/^signals\.bio1\.orp: name does not say against which reference it reads/),
  ])
})

test('ALM-44 no more alarms than it takes: the mix of the demo fleet leans to low, and a loop has some fifty', () => {
  const all = readdirSync(folder)
    .filter((f) => f.endsWith('.yaml'))
    .flatMap((f) => [...defs(siteOf(text(f.slice(0, -5)))).values()])
  // The checks after a visit and a power cut are told from outside the readings; three of them are of high priority, and they stand in for no-air.
  const judged = all.filter((d) => d.rule.kind !== 'fact')
  const share = (p: AlarmDef['priority']): number => judged.filter((d) => d.priority === p).length / judged.length
  // What asks for no answer is no alarm.
  expect(all.filter((d) => d.priority !== 'alert').length / 8).toBeLessThan(51)
  // Before the rows were corrected: 20 % high, 52 % medium, 26 % low. The aim is 5, 15 and 80.
  // Checks after visits and power cuts, and the overdue check-out, are high and rare: five of a loop's fifty.
  expect(share('high')).toBeLessThan(0.2)
  expect(share('medium')).toBeLessThan(0.45)
  expect(share('low')).toBeGreaterThan(0.35)
})
