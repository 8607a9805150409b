import { expect, test } from 'vitest'
import { specOf } from '../../gateway/intake/checks.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'

const read = (checks: string) => readSiteFile('y.yaml', `id: y\nname: Y\nzone: UTC\ntrain: [{ stage: treatment, id: tu }]\nsignals:\n  tu.ph:\n    checks: ${checks}\n`)

test('a site file changes the quality tests of one signal, with a reason', () => {
  const r = read('{ rate: "off", userRange: [5, 9.5], flat: { suspectAfter: 48h }, why: probe in a side stream }')
  if (!r.ok) throw new Error(JSON.stringify(r.faults))
  const signal = r.site.signals[0]
  if (!signal) throw new Error('no signal')
  const { checks } = specOf('y', signal, 'treatment')
  expect(checks.rate).toBeNull()
  expect(checks.gross.user).toEqual([5, 9.5])
  expect(checks.flat?.suspectMs).toBe(48 * 3_600_000)
  expect(checks.spike).not.toBeNull()
})

test('settings that cannot be are refused with their place, and none is taken without a reason', () => {
  const text = (checks: string): string => {
    const r = read(checks)
    return r.ok ? '' : r.faults.map((f) => `${f.line} ${f.field}: ${f.message}`).join('\n')
  }
  expect(text('{ rate: "off" }')).toContain('7 signals.tu.ph.checks.why: missing')
  expect(text('{ spike: { suspect: 2, fail: 1 }, why: x }')).toBe('7 signals.tu.ph.checks: spike: suspect 2 must be less than fail 1')
  expect(text('{ userRange: [5, 20], why: x }')).toContain('user range 5 to 20 must lie inside the sensor range 0 to 14')
})
