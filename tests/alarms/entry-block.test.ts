import { expect, test } from 'vitest'
import { entryBlockOf, notMeasured } from '../../gateway/alarms/entry-block.ts'
import { alarmDef, alarmView, NOON } from '../server/fake-gateway.ts'

const gas = alarmView(alarmDef('yard', 'sump.h2s.high', { class: 'safety', latching: true, what: 'Hydrogen sulphide at the sump' }), {
  state: 'latched-acknowledged',
  limit: 5,
  unit: '[ppm]',
  raisedMs: NOON - 3_600_000,
  clearedMs: NOON - 1_800_000,
})
const measured = (value: number, atMs: number): Parameters<typeof notMeasured>[1][number] => ({ kind: 'gas-measured', value, atMs })

test('a loop is blocked from the first gas alarm on, also when the reading has fallen back', () => {
  const later = alarmView(gas.def, { state: 'unacknowledged', raisedMs: NOON })
  expect(entryBlockOf([later, gas])).toEqual({ alarm: 'yard/sump.h2s.high', what: 'Hydrogen sulphide at the sump', sinceMs: NOON - 3_600_000 })
  expect(entryBlockOf([alarmView(alarmDef('yard', 'tu.do.low'))])).toBeNull()
})

test('a gas alarm is let go only after a measurement below its limit that is newer than the last reading above it', () => {
  expect(notMeasured(gas, [])).toMatch(/^Not reset: nobody has written down a measurement/)
  expect(notMeasured(gas, [measured(0, NOON - 2_000_000)])).toMatch(/nobody/)
  expect(notMeasured(gas, [measured(7, NOON)])).toMatch(/^Not reset: 7 .* was measured, and the limit is 5/)
  expect(notMeasured(gas, [measured(7, NOON - 1_000_000), measured(0.4, NOON)])).toBeNull()
  expect(notMeasured(gas, [measured(0.4, NOON - 1_000_000), measured(7, NOON)])).toMatch(/7/)
})

test('other alarms need no measurement', () => {
  expect(notMeasured(alarmView(alarmDef('yard', 'float', { latching: true })), [])).toBeNull()
})
