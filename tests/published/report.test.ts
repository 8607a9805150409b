import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { CASES } from './cases.ts'
import { isTruth, linesOf, markdownOf, reportOf } from './report.ts'
import type { PublishedCase } from './table.ts'

const report = reportOf(CASES)
const count = (of: (row: (typeof report.rows)[number]) => boolean): number => report.rows.filter(of).length

test('TABLE.md holds what the checks give now: npm run published -- --write brings it back in step', () => {
  expect(readFileSync(new URL('TABLE.md', import.meta.url), 'utf8')).toBe(markdownOf(report))
})

test('at least 217 figures printed or transcribed by others, guards left out, are met; 14 of them by the reference tank of the simulator, and none is missed', () => {
  expect(count((r) => isTruth(r) && r.ok)).toBeGreaterThanOrEqual(217)
  expect(count((r) => isTruth(r) && r.ok && r.id.startsWith('BK-ASM-'))).toBe(14)
  expect(count((r) => !r.ok)).toBe(0)
  expect(linesOf(report).at(-1)).toBe(`${CASES.length} passed, 0 failed`)
})

test('a figure that is not covered is not checked either, and says why', () => {
  expect(report.notCovered.filter((c) => c.why.length < 20 || CASES.some((k) => k.id === c.id)).map((c) => c.id)).toEqual([])
})

const plain: PublishedCase = { id: 'A-1', what: 'a figure', expected: 2, tol: 0.1, grade: 'P', source: 'a book', ours: () => 2.02 }

test('a missed figure is told as FAIL in both forms and in the last line, and a guard counts as no outside truth', () => {
  const r = reportOf([plain, { ...plain, id: 'A-2', ours: () => 3 }, { ...plain, id: 'A-3', guard: 'a constant' }], [])
  expect(linesOf(r)[1]).toBe('FAIL  A-2                  a figure: ours 3, expected 2 within 0.1  [P] a book')
  expect(linesOf(r)).toContain('   1  of outside truth (P and Q, guards left out) pass')
  expect(linesOf(r)).toContain('   1  of outside truth fail')
  expect(linesOf(r).at(-1)).toBe('2 passed, 1 failed')
  expect(markdownOf(r)).toContain('| A-2 | a figure | 3 | 2 | 0.1 | P | a book | FAIL |')
  expect(markdownOf(r)).toContain('| A-3 | a figure | 2.02 | 2 | 0.1 | P, guard | a book (guard: a constant) | pass |')
})
