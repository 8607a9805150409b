import { expect, test } from 'vitest'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { detectionMs } from '../../gateway/alarms/detection-delay.ts'
import { createEngine } from '../../gateway/alarms/engine-state.ts'
import { loop, loopWith, SITE } from './yard.ts'

const made = (alarms: string) => {
  const r = defaultAlarms(loopWith(alarms))
  return { ...r, def: (key: string) => r.defs.find((d) => d.id === `${SITE}/${key}`) }
}

test('a site changes one figure and keeps the rest, and the basis says why this site differs', () => {
  const r = made('  tu.do.low: { limit: 1.8, why: "this unit has always run a little lower" }\n')
  expect(r.faults).toEqual([])
  expect(r.def('tu.do.low')).toMatchObject({
    rule: { kind: 'limit', limit: 1.8, deadband: 0.2, onDelayMs: 3_600_000 },
    basis: expect.stringMatching(/^This site: this unit has always run a little lower\. Default: 2\.0/),
  })
})

test('words, priority and time can be changed, and the priority follows the time unless it is given', () => {
  const r = made(
    '  tu.do.low: { respondWithin: 40min, cause: "old diffusers", action: ["At the blower: clean it."], why: "x" }\n  tu.ph.high: { priority: high, why: "cement works next door" }\n',
  )
  expect(r.def('tu.do.low')).toMatchObject({ respondWithinMin: 40, priority: 'medium', cause: 'old diffusers', action: ['At the blower: clean it.'] })
  expect(r.def('tu.ph.high')?.priority).toBe('high')
})

test.each([
  ['  finished.level.low: { limit: 45, why: "x" }\n', 'finished.level.low', { belowMin: 45 }],
  ['  sump.level.high-high: { limit: 92, onDelay: 2min, why: "x" }\n', 'sump.level.high-high', { limit: 92, onDelayMs: 120_000 }],
  ['  site.silent: { onDelay: 6h, why: "x" }\n', 'site.silent', { afterMs: 21_600_000 }],
  ['  blower1.no-air: { limit: 120, onDelay: 2min, why: "x" }\n', 'blower1.no-air', { proofLow: 120, onDelayMs: 120_000, fastOnDelayMs: 120_000 }],
  ['  mains.present.absent: { onDelay: 5min, why: "x" }\n', 'mains.present.absent', { onDelayMs: 300_000 }],
  ['  tu.ph.blind: { onDelay: 1h, why: "x" }\n', 'tu.ph.blind', { afterMs: 3_600_000 }],
])('%s changes that rule', (alarms, key, rule) => {
  const r = made(alarms)
  expect(r.faults).toEqual([])
  expect(r.def(key)?.rule).toMatchObject(rule)
})

test.each([
  ['acid.run.long: { limit: 4, onDelay: 8min, why: "x" }', 'acid.run.long', { kind: 'over-run', factor: 4, unlearnedMs: 480_000 }],
  ['acid.run.day: { limit: 3, why: "x" }', 'acid.run.day', { kind: 'day-total', factor: 3 }],
  ['tu.ph.no-answer: { limit: 0.2, why: "x" }', 'tu.ph.no-answer', { kind: 'no-response', share: 0.2 }],
  ['tu.dip.low: { limit: 30, deadband: 5, why: "x" }', 'tu.dip.low', { kind: 'limit', limit: 30, deadband: 5 }],
])('a default of a learning kind is changed the same way: %s', (line, key, rule) => {
  const r = made(`  ${line}\n`)
  expect(r.faults).toEqual([])
  expect(r.def(key)?.rule).toMatchObject(rule)
})

test.each([
  ['acid.run.long: { limit: 0.5, why: "x" }', /how many times its longest pulse one run may last, above 1/],
  ['acid.run.day: { deadband: 1, why: "x" }', /an alarm of kind day-total has none/],
  ['tu.ph.no-answer: { limit: 30, why: "x" }', /share of the usual answer, between 0 and 1/],
  ['tu.dip.poisoned: { limit: 20, why: "x" }', /joins several conditions; its delays can be changed/],
  ['acid.runs.long: { off: true, why: "x" }', /names no alarm, signal or machine of this site; here there are acid\.run\.long/],
  ['acd.run.long: { off: true, why: "x" }', /here there are acid\.run\.long/],
  ['finished.levl.low: { limit: 20, why: "x" }', /here there are finished\.level\.low, /],
])('and refused in a sentence that says what the figure is, or which name was meant: %s', (line, expected) => {
  const r = made(`  ${line}\n`)
  expect(r.faults.map((f) => f.message)).toEqual([expect.stringMatching(expected)])
})

test('an alarm that is switched off is gone; one that protects people is gone with a warning', () => {
  const r = made('  tu.do.low: { off: true, why: "winter rest" }\n  sump.h2s.high: { off: true, why: "own gas panel" }\n')
  expect(r.def('tu.do.low')).toBeUndefined()
  expect(r.def('sump.h2s.high')).toBeUndefined()
  expect(r.warnings).toEqual(['alarms.sump.h2s.high: switched off although it protects people ("own gas panel"): make sure something else does'])
})

test('a limit on a signal that has no such default becomes an alarm when it says what to do, and an alert that calls nobody when it does not', () => {
  const site = loop(
    (t) =>
      `${t.replace('  tu.temperature:\n', '  tu.temperature:\n  tu.orp: { name: "Redox potential (Ag/AgCl)" }\n')}alarms:\n  tu.orp.low: { limit: -100, why: "learned in spring", cause: "No air.", consequence: "Smell.", action: ["At the blower: look."], respondWithin: 2h }\n  tu.orp.high: { limit: 350, why: "x" }\n`,
  )
  const r = defaultAlarms(site)
  expect(r.faults).toEqual([])
  const low = r.defs.find((d) => d.id.endsWith('/tu.orp.low'))
  expect(low).toMatchObject({ priority: 'low', rule: { kind: 'limit', side: 'low', limit: -100, deadband: 2, onDelayMs: 60_000 } })
  expect(r.defs.find((d) => d.id.endsWith('/tu.orp.high'))?.priority).toBe('alert')
  expect(r.warnings).toEqual([
    'alarms.tu.orp.high: shown as an alert that calls nobody, because cause, consequence, action, respondWithin are missing: an alarm must say what to do',
  ])
  expect(createEngine(r.defs, [site], { nowMs: 0, steadyMs: 0 }).faults).toEqual([])
})

test.each([
  ['tu.d0.low: { limit: 1, why: "x" }', /alarms\.tu\.d0\.low: names no alarm, signal or machine of this site; here there are tu\.do\.low, /],
  ['nonsense: { limit: 1, why: "x" }', /alarms\.nonsense: names no alarm, signal or machine of this site; npm run sites check/],
  ['sump.high-high: { onDelay: 2min, why: "x" }', /names no alarm, signal or machine of this site; here there are sump\.high-high\.wet/],
  ['tu.temperature.low: { off: true, why: "x" }', /no default of that kind for tu\.temperature; give a limit to make one \(there is nothing to switch off\)/],
  ['hp.run.high: { limit: 1, why: "x" }', /hp\.run is no measured value/],
  ['tu.do.low: { onDelay: 10s, why: "x" }', /onDelay 10 s found: tu\.do gives a value every 30 s, so a delay below 1 min cannot be told from none: write 0s or at least 1 min/],
  ['tu.do.low: { offDelay: 59s, why: "x" }', /offDelay 59 s found/],
  ['tu.ph.high: { limit: 90, why: "x" }', /limit 90 found: tu\.ph reports 0 to 14 \[pH\], so it would never be passed/],
  ['tu.ph.high: { deadband: 8, why: "x" }', /deadband 8 found: more than half/],
  ['mains.present.absent: { limit: 1, why: "x" }', /on or off, only its delays can be changed/],
  ['site.silent: { onDelay: 60s, why: "x" }', /onDelay 1 min found: shorter than three reports \(90 s\)/],
  ['site.silent: { limit: 3, why: "x" }', /only onDelay \(how long\) can be changed/],
  ['blower1.no-air: { deadband: 3, why: "x" }', /fixed deadband of 5 %/],
  ['finished.level.low: { limit: 0, why: "x" }', /minutes of washing left/],
  ['tu.do.low: { respondWithin: 0s, why: "x" }', /respondWithin 0 found/],
])('%s is told in a sentence that names the field, and the default stays in force', (line, expected) => {
  const before = defaultAlarms(loop()).defs
  const r = made(`  ${line}\n`)
  expect(r.faults).toHaveLength(1)
  expect(`alarms.${r.faults[0]?.key}: ${r.faults[0]?.message}`).toMatch(expected)
  expect(r.defs).toEqual(before)
})

test('a contact may have a short delay: it is sent when it changes', () => {
  expect(made('  common.trip.tripped: { onDelay: 5s, why: "x" }\n').faults).toEqual([])
})

test('ALM-31 no delay and no deadband on a measured value is allowed, with a warning and the time to expect', () => {
  const r = made('  tu.ph.high-high: { onDelay: 0s, deadband: 0, why: "x" }\n')
  expect(r.faults).toEqual([])
  expect(r.warnings).toEqual([
    'alarms.tu.ph.high-high: no delay and no deadband on a measured value: it will chatter; give a deadband of at least 0.02 or a delay',
    'alarms.tu.ph.high-high: tu.ph reports every 30 s, so expect it up to 40 s after the fact',
  ])
})

test('ALM-38 limits in the wrong order are pointed out', () => {
  expect(made('  tu.do.low: { limit: 0.4, why: "x" }\n').warnings).toEqual(['alarms.tu.do.low-low: its limit (0.5) is not beyond that of tu.do.low (0.4): swap them or change one'])
})

test('the time to detection is the report that was just missed, the delay and the link', () => {
  expect(detectionMs({ reportEveryMs: 300_000 }, 600_000)).toBe(910_000)
})

test('ALM-41 an alarm that does not say what to do is refused by the engine in a sentence', () => {
  const [d] = defaultAlarms(loop()).defs
  if (!d) throw new Error('no default')
  const broken = [
    { ...d, id: `${SITE}/a`, action: [] },
    { ...d, id: `${SITE}/b`, cause: ' ' },
    { ...d, id: `${SITE}/c`, consequence: '' },
    { ...d, id: `${SITE}/d`, respondWithinMin: 0 },
    { ...d, id: `${SITE}/e`, confirm: '' },
    { ...d, id: `${SITE}/f`, action: [], priority: 'alert' as const },
  ]
  const engine = createEngine(broken, [loop()], { nowMs: 0, steadyMs: 0 })
  expect(engine.faults.map((f) => f.slice(SITE.length + 1))).toEqual([
    'a: has no action, so it is no alarm and is not watched; an alert needs none',
    'b: has no cause, so it is no alarm and is not watched; an alert needs none',
    'c: has no consequence, so it is no alarm and is not watched; an alert needs none',
    'd: has no time to respond, so it is no alarm and is not watched; an alert needs none',
    'e: has no way to confirm it, so it is no alarm and is not watched; an alert needs none',
  ])
  expect([...engine.runs.keys()]).toEqual([`${SITE}/f`])
})
