/** Gates, counts of samples, joined conditions, vitals as signals, and how soon an alarm can know. */
import { expect, test } from 'vitest'
import type { Rule } from '../../../gateway/alarms/alarm.ts'
import { chatterWarning, delayFault, expectedDetectionMs } from '../../../gateway/alarms/detection-delay.ts'
import { defaultAlarms } from '../../../gateway/alarms/defaults.ts'
import { watch } from '../watch.ts'
import { loopWith, reading } from '../yard.ts'
import { alarm, begin, changes, DAY, HOUR, MIN, MONDAY, rows, yard } from './yard.ts'

const low: Rule = { kind: 'limit', signal: 'tu.do', side: 'low', limit: 2, deadband: 0.2, onDelayMs: 10 * MIN, offDelayMs: 0 }

test('oxygen not back three hours after the last wash: the gate opens when the rest is long enough, and shuts at once with the next wash', () => {
  const w = begin({ ...low, when: { idle: 'hp.run', idleForMs: 3 * HOUR } })
  rows(w, HOUR, { 'tu.do': 1, 'hp.run': 1 })
  rows(w, 3 * HOUR, { 'tu.do': 1, 'hp.run': 0 })
  rows(w, HOUR, { 'tu.do': 1, 'hp.run': 1 })
  expect(changes(w)).toEqual([])
  rows(w, 4 * HOUR, { 'tu.do': 1, 'hp.run': 0 })
  expect(changes(w)).toEqual(['raised 490'])
})

test('a rule for the time shortly after something: rain in the last six hours, whether it still rains or not', () => {
  const w = begin({ kind: 'state', signal: 'containment.leak', value: 1, onDelayMs: MIN, offDelayMs: 0, when: { after: { signal: 'hp.volume', withinMs: 6 * HOUR } } })
  const leak = { 'containment.leak': 1 }
  rows(w, HOUR, { ...leak, 'hp.volume': 100 })
  expect(changes(w)).toEqual([])
  rows(w, 2 * MIN, (since) => ({ ...leak, 'hp.volume': 100 + since / MIN }))
  expect(changes(w)).toEqual(['raised 61'])
  rows(w, MIN, { 'containment.leak': 0, 'hp.volume': 200 })
  rows(w, 6 * HOUR, { 'containment.leak': 0, 'hp.volume': 200 })
  rows(w, HOUR, { ...leak, 'hp.volume': 200 })
  expect(changes(w)).toEqual(['cleared 62'])
})

test('ALM-30 four of five samples raise through a good one between, and a restart with the alarm standing neither clears nor raises', () => {
  const rule: Rule = { ...low, onDelayMs: 0, nOfM: { n: 4, m: 5, clearN: 5, clearM: 5 } }
  const w = begin(rule)
  for (const v of [1, 5, 1, 5, 1, 5, 1, 1, 5, 1, 1]) rows(w, MIN, { 'tu.do': v })
  expect(changes(w)).toEqual(['raised 10'])
  const life = [...w.engine.runs.values()][0]?.life
  if (!life) throw new Error('no life')
  const again = watch([alarm(rule)], { site: yard(), startMs: w.clock.nowMs(), lives: new Map([['gravel-yard-2/x', life]]) })
  rows(again, 4 * MIN, { 'tu.do': 5 })
  expect(changes(again)).toEqual([])
  rows(again, MIN, { 'tu.do': 5 })
  expect(changes(again)).toEqual(['cleared 4'])
})

const shock: Rule = {
  kind: 'all-of',
  withinMs: 2 * HOUR,
  of: [
    { kind: 'deviation', signal: 'tu.orp', from: { kind: 'median', spanMs: 7 * DAY, leastMs: DAY }, as: 'difference', side: 'high', limit: 150, deadband: 30, withinMs: 2 * HOUR },
    { kind: 'rate', signal: 'tu.do', side: 'high', limit: 0.5, deadband: 0.2, spanMs: HOUR, perMs: HOUR },
  ],
  onDelayMs: 0,
  offDelayMs: 0,
}

test('an oxidant: redox steps 200 mV, oxygen rises half an hour later, both within two hours raise once', () => {
  const w = begin(shock)
  rows(w, 1.5 * DAY, { 'tu.orp': 120, 'tu.do': 4.7 })
  rows(w, 30 * MIN, { 'tu.orp': 320, 'tu.do': 4.7 })
  expect(changes(w)).toEqual([])
  rows(w, 2 * HOUR, (since) => ({ 'tu.orp': 320, 'tu.do': Math.min(8, 4.7 + (2 * (since - 1.5 * DAY - 30 * MIN)) / HOUR) }))
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
})

test('a new redox probe that reads 200 mV higher, and oxygen rising after every wash, is not an oxidant once the replacement is in the log', () => {
  const w = begin(shock)
  rows(w, 1.5 * DAY, { 'tu.orp': 120, 'tu.do': 4.7 })
  for (const run of w.engine.runs.values()) for (const l of run.rule.learned ?? []) l.forget()
  rows(w, 2 * HOUR, (since) => ({ 'tu.orp': 320, 'tu.do': Math.min(8, 4.7 + (2 * (since - 1.5 * DAY)) / HOUR) }))
  expect(changes(w)).toEqual([])
})

test('either alone raises nothing, and a day apart they do not belong together', () => {
  const w = begin(shock)
  rows(w, 1.5 * DAY, { 'tu.orp': 120, 'tu.do': 4.7 })
  rows(w, 5 * HOUR, { 'tu.orp': 320, 'tu.do': 4.7 })
  rows(w, 5 * HOUR, { 'tu.orp': 120, 'tu.do': 4.7 })
  rows(w, 2 * HOUR, (since) => ({ 'tu.orp': 120, 'tu.do': Math.min(8, 4.7 + (2 * (since - 1.5 * DAY - 10 * HOUR)) / HOUR) }))
  expect(changes(w)).toEqual([])
})

test('one of several is judged by those that can be', () => {
  const w = begin({
    kind: 'any-of',
    of: [
      { kind: 'limit', signal: 'tu.do', side: 'low', limit: 2, deadband: 0.2 },
      { kind: 'state', signal: 'common.trip', value: 1 },
    ],
    onDelayMs: 2 * MIN,
    offDelayMs: 0,
  })
  rows(w, 10 * MIN, { 'tu.do': null, 'common.trip': 0 })
  rows(w, 10 * MIN, { 'tu.do': null, 'common.trip': 1 })
  expect(changes(w)).toEqual(['raised 12'])
})

test('a rule reads a vital like a measured signal, by the sure end of its interval where it asks for it; one that this loop cannot tell is none', () => {
  const rule: Rule = { kind: 'limit', signal: 'finished.leak', side: 'high', limit: 15, deadband: 5, end: 'low', onDelayMs: 0, offDelayMs: 0 }
  expect(watch([alarm(rule)], { site: yard() }).engine.faults.join()).toMatch(/a signal its rule needs/)
  const w = watch([alarm(rule)], { site: yard('  makeup.volume: { in: finished }\n'), startMs: MONDAY })
  expect(w.engine.faults).toEqual([])
  const night = (value: number, low: number) => w.take({ ...reading('finished.leak', value, w.clock.nowMs()), interval: { low, high: value + 10 } })
  night(22, 9)
  w.wait(86_400)
  night(30, 17)
  w.wait(86_400)
  night(6, 1)
  expect(changes(w)).toEqual(['raised 1440', 'cleared 2880'])
})

test('a vital that is not told says nothing, and nobody is told that an instrument is blind', () => {
  const w = watch([alarm({ kind: 'limit', signal: 'tu.do.saturation', side: 'high', limit: 90, deadband: 2, onDelayMs: 0, offDelayMs: 0 })], { site: yard() })
  expect(w.engine.faults).toEqual([])
  w.row({ 'tu.do': 5 })
  w.wait(86_400)
  expect(w.news()).toEqual([])
  expect(w.view('x').heldSinceMs).toBeNull()
})

test('expected detection delay: the report just missed, the delay, the link of 10 s; for what depends on use none is given', () => {
  const site = yard()
  const ms = (rule: Rule): number | null => expectedDetectionMs(site, rule)
  expect(ms(low)).toBe(MIN + 10 * MIN + 10_000)
  expect(ms({ ...low, onDelayMs: 0, nOfM: { n: 4, m: 5, clearN: 5, clearM: 5 } })).toBe(MIN + 3 * MIN + 10_000)
  expect(ms({ kind: 'rate', signal: 'tu.ph', side: 'low', limit: -1, deadband: 0, spanMs: 20 * MIN, perMs: HOUR, onDelayMs: MIN, offDelayMs: 0 })).toBe(
    MIN + 20 * MIN + MIN + 10_000,
  )
  expect(ms({ kind: 'silent', afterMs: 2 * HOUR })).toBe(2 * HOUR + 10_000)
  expect(ms({ kind: 'day-total', signal: 'acid.run', wash: 'hp.volume', factor: 2, least: 5, onDelayMs: 0, offDelayMs: 0 })).toBeNull()
  expect(ms({ ...low, signal: 'tu.do.saturation' })).toBe(15 * MIN + 10 * MIN + 10_000)
})

test.each<[string, Partial<Rule>, RegExp]>([
  ['a delay between none and two samples', { onDelayMs: 90_000 }, /onDelay 90 s found: tu\.do gives a value every 1 min.*below 2 min cannot be told from none/],
  ['a count of samples that cannot be met', { nOfM: { n: 6, m: 5, clearN: 5, clearM: 5 } } as Partial<Rule>, /nOfM 6 of 5.*more samples than are looked at/],
  ['more samples than are remembered', { nOfM: { n: 6, m: 50, clearN: 5, clearM: 5 } } as Partial<Rule>, /at most 30 samples/],
  ['a median of less than three samples', { medianOverMs: 90_000 } as Partial<Rule>, /medianOver 90 s found.*three of them: at least 2 min/],
])('refused with a sentence: %s', (_, more, message) => {
  const rule = { ...low, ...more } as Extract<Rule, { kind: 'limit' }>
  expect(delayFault(yard(), rule, rule)).toMatch(message)
})

test('a rate over a span the reports cannot resolve is refused', () => {
  const rate: Rule = { kind: 'rate', signal: 'tu.ph', side: 'low', limit: -1, deadband: 0, spanMs: 5 * MIN, perMs: HOUR, onDelayMs: 0, offDelayMs: 0 }
  expect(delayFault(yard(), rate, {})).toMatch(/span 5 min found.*a rate needs 9 of them: at least 9 min/)
  expect(delayFault(yard(), { ...rate, spanMs: 9 * MIN }, {})).toBeNull()
})

test('ALM-31 no delay and no deadband on a measured value is a warning, unless samples are counted', () => {
  const bare = { ...low, deadband: 0, onDelayMs: 0 } as const
  expect(chatterWarning(yard(), bare)).toMatch(/it will chatter/)
  expect(chatterWarning(yard(), { ...bare, nOfM: { n: 3, m: 5, clearN: 3, clearM: 5 } })).toBeNull()
  expect(chatterWarning(yard(), { ...bare, deadband: 0.2 })).toBeNull()
  expect(defaultAlarms(loopWith('  tu.do.low: { onDelay: 0s, deadband: 0, why: test }\n')).warnings.join()).toMatch(/chatter/)
})
