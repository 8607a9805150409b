/** Rules a site file writes itself. */
import { expect, test } from 'vitest'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { readRule } from '../../gateway/alarms/rule-schema.ts'
import { createEngine } from '../../gateway/alarms/engine-state.ts'
import { loopWith, SITE } from './yard.ts'

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR

const made = (alarms: string) => {
  const site = loopWith(alarms)
  const r = defaultAlarms(site)
  return { ...r, site, def: (key: string) => r.defs.find((d) => d.id === `${SITE}/${key}`) }
}

test('a rule of its own is read from the site file, lengths of time as text, and is watched as an alert until it says what to do', () => {
  const r = made(`  tu.ph.step:
    what: pH has dropped within two hours
    why: this yard doses by hand
    rule:
      kind: deviation
      signal: tu.ph
      from: { kind: median, span: 7d, least: 2d }
      as: difference
      side: low
      limit: -0.8
      deadband: 0.2
      within: 2h
      onDelay: 10min
      offDelay: 30min
      when: { value: { signal: tu.do, side: low, limit: 0.5 }, idle: hp.run, idleFor: 30min }
`)
  expect(r.faults).toEqual([])
  expect(r.def('tu.ph.step')).toMatchObject({
    what: 'pH has dropped within two hours',
    stage: 'tu',
    priority: 'alert',
    rule: {
      kind: 'deviation',
      from: { kind: 'median', spanMs: 7 * DAY, leastMs: 2 * DAY },
      withinMs: 2 * HOUR,
      onDelayMs: 10 * MIN,
      when: { idle: 'hp.run', idleForMs: 30 * MIN },
    },
  })
  expect(createEngine(r.defs, [r.site], { nowMs: 0, steadyMs: 0 }).faults).toEqual([])
})

test('with cause, consequence, action and time to respond it is an alarm, and it may take the place of a default', () => {
  const r = made(`  tu.do.low:
    why: the probe bubbles here
    rule: { kind: limit, signal: tu.do, side: low, limit: 2, deadband: 0.2, onDelay: 0s, offDelay: 5min, nOfM: { n: 4, m: 5, clearN: 5, clearM: 5 } }
  tu.do.saturation.high:
    why: a toxic shock shows here first
    cause: Something has stopped the biology from breathing.
    consequence: Treatment stops.
    action: [Hold feed.]
    respondWithin: 4h
    rule: { kind: all-of, within: 2h, onDelay: 10min, offDelay: 10min, of: [ { kind: limit, signal: tu.do.saturation, side: high, limit: 95, deadband: 3 }, { kind: rate, signal: tu.do, side: high, limit: 0.5, deadband: 0.1, span: 1h, per: 1h } ] }
`)
  expect(r.faults).toEqual([])
  expect(r.def('tu.do.low')).toMatchObject({ what: 'Little oxygen in the treatment unit', rule: { nOfM: { n: 4 } } })
  expect(r.def('tu.do.saturation.high')?.priority).not.toBe('alert')
})

test.each([
  ['{ kind: speed, signal: tu.ph }', /rule\.kind/],
  ['{ kind: rate, signal: tu.ph, side: low, limit: -1, deadband: 0, span: 2, per: 1h, onDelay: 0s, offDelay: 0s }', /rule/],
  ['{ kind: rate, signal: tu.ph, side: low, limit: -1, deadband: 0, span: "2 hours", per: 1h, onDelay: 0s, offDelay: 0s }', /rule\.span: "2 hours" found, a length of time/],
  [
    '{ kind: rate, signal: tu.ph, side: low, limit: 1, deadband: 0, span: 2h, per: 1h, onDelay: 0s, offDelay: 0s }',
    /rule\.limit: 1 found; on side low of a rate it must be below 0/,
  ],
  [
    '{ kind: drift, signal: tu.ph, side: high, perDay: -1, deadband: 0, span: 7d, onDelay: 0s, offDelay: 0s }',
    /rule\.perDay: -1 found; on side high of a drift it must be above 0/,
  ],
  ['{ kind: deviation, signal: tu.ph, from: { kind: value, value: 7 }, as: ratio, side: low, limit: 1.2, deadband: 0, onDelay: 5min, offDelay: 5min }', /below 1/],
  ['{ kind: limit, signal: tu.orp, side: low, limit: 1, deadband: 0, onDelay: 5min, offDelay: 5min }', /"tu\.orp" is neither a signal of this site nor a vital/],
  [
    '{ kind: limit, signal: finished.leak, side: high, limit: 15, deadband: 5, onDelay: 0s, offDelay: 0s }',
    /"finished\.leak" is neither a signal of this site nor a vital it can tell/,
  ],
  ['{ kind: limit, signal: tu.do, side: low, limit: 1, deadband: 0, onDelay: 40s, offDelay: 0s }', /onDelay 40 s found: tu\.do gives a value every 30 s/],
  ['{ kind: rate, signal: tu.ph, side: low, limit: -1, deadband: 0, span: 2min, per: 1h, onDelay: 0s, offDelay: 0s }', /span 2 min found.*at least 270 s/],
  ['{ kind: limit, signal: tu.do, side: low, limit: 1, deadband: 0, onDelay: 0s, offDelay: 0s, formula: "x > 1" }', /formula/],
])('not taken, with a sentence: %s', (rule, message) => {
  const r = made(`  tu.own:\n    why: test\n    rule: ${rule}\n`)
  expect(r.faults.map((f) => f.message).join()).toMatch(message)
  expect(r.def('tu.own')).toBeUndefined()
})

test('conditions are joined three deep and six wide at most', () => {
  const leaf = { kind: 'state', signal: 'common.trip', value: 1 }
  const nested = (deep: number): unknown => (deep === 0 ? leaf : { kind: 'any-of', of: [nested(deep - 1)] })
  expect(readRule({ kind: 'any-of', of: [nested(2)], onDelay: '0s', offDelay: '0s' })).toMatchObject({ kind: 'any-of' })
  expect(readRule({ kind: 'any-of', of: [nested(3)], onDelay: '0s', offDelay: '0s' })).toEqual(expect.stringMatching(/^rule/))
  expect(readRule({ kind: 'any-of', of: Array.from({ length: 7 }, () => leaf), onDelay: '0s', offDelay: '0s' })).toEqual(expect.stringMatching(/^rule\.of/))
})

test('ALM-38 LL < L < H < HH: a low limit that is not below the high one is told', () => {
  expect(made('  tu.ph.low: { limit: 9.2, why: test }\n').warnings.join()).toMatch(/tu\.ph\.low: its limit \(9\.2\) is not below that of tu\.ph\.high \(9\)/)
})
