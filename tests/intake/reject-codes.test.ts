import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { DOOR_CODES, REJECT_CODES, rejectTable, type DoorCode, type RejectCode } from '../../gateway/intake/reject-codes.ts'
import { intakeWith, message } from './parts.ts'

/** One message for each code. */
const PRODUCED: Readonly<Record<Exclude<RejectCode, DoorCode>, Parameters<typeof message>>> = {
  TOPIC: ['ostrand/tu/do', '7.2'],
  UNKNOWN_SITE: ['nowhere-yard/tu.do', '7.2'],
  UNKNOWN_SIGNAL: ['ostrand/tu.h2s', '7.2'],
  WRONG_SITE: ['ostrand/tu.do', '7.2', { site: 'kestrow' }],
  EMPTY: ['ostrand/tu.do', ''],
  TOO_LARGE: ['ostrand/tu.do', ' '.repeat(300_000)],
  TOO_MANY: ['ostrand', JSON.stringify({ signals: Object.fromEntries(Array.from({ length: 5001 }, (_, i) => [`s${i}`, i])) })],
  NOT_UTF8: ['ostrand/tu.do', Uint8Array.of(0xff)],
  NOT_JSON: ['ostrand', '{'],
  SHAPE: ['ostrand', '[]'],
  NOT_A_NUMBER: ['ostrand/tu.do', 'true'],
  UNIT: ['ostrand/tu.do', '{"v":7.2,"u":"kPa"}'],
  TIME: ['ostrand/tu.do', '{"v":7.2,"t":"2026-03-02T08:00:60Z"}'],
}

test('every code of a message has a message here; the others are of connections', () => {
  expect([...Object.keys(PRODUCED), ...DOOR_CODES].sort()).toEqual(Object.keys(REJECT_CODES).sort())
})

test.each(Object.keys(PRODUCED) as (keyof typeof PRODUCED)[])('%s is produced by a message, stored nowhere, acknowledged, and kept with its reason', (code) => {
  const { intake, history, told } = intakeWith()
  intake.take(message(...PRODUCED[code]))
  expect(intake.quarantine().rejected).toEqual({ [code]: 1 })
  expect(intake.quarantine().rejects).toMatchObject([{ code, bytes: message(...PRODUCED[code]).payload.length }])
  expect(intake.quarantine().rejects[0]?.detail.length).toBeGreaterThan(3)
  expect(history.stored).toEqual([])
  expect(told).toEqual([])
})

test('every code says in a sentence what it means and what to do, and README has them all', () => {
  expect(readFileSync(new URL('../../README.md', import.meta.url), 'utf8')).toContain(rejectTable())
  for (const [code, text] of Object.entries(REJECT_CODES)) {
    expect(code).toMatch(/^[A-Z][A-Z0-9_]+$/)
    for (const sentence of [text.means, text.todo]) expect(sentence).toMatch(/^[A-Z{].{15,}\.$/)
  }
})
