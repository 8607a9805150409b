/** The published checks as lines for a person and as the table kept beside them (TABLE.md): one row a check, the same figures in both. */
import { readFileSync } from 'node:fs'
import { judge, type PublishedCase } from './table.ts'

const GRADES: Readonly<Record<string, string>> = {
  P: 'printed in the source itself',
  Q: 'through a copy or transcription of the source',
  M: 'from memory',
  T: 'computed by a tool nobody here wrote',
  X: 'definition or exact arithmetic',
  C: 'computed from a published formula: guards against change, no outside truth',
}

interface Row {
  readonly ok: boolean
  readonly id: string
  readonly what: string
  readonly ours: string
  readonly expected: string
  readonly within: string
  readonly grade: string
  readonly guard: string | null
  readonly source: string
}

interface NotCovered {
  readonly id: string
  readonly what: string
  readonly expected: number
  readonly grade: string
  readonly why: string
}

export interface Report {
  readonly rows: readonly Row[]
  readonly notCovered: readonly NotCovered[]
  readonly passed: number
  readonly failed: number
}

export function reportOf(cases: readonly PublishedCase[], notCovered: readonly NotCovered[] = readNotCovered()): Report {
  const rows = cases.map((c): Row => {
    const v = judge(c)
    return {
      ok: v.ok,
      id: c.id,
      what: c.what,
      ours: v.trouble ?? figure(v.ours, c.tol),
      expected: String(c.expected),
      within: String(Number(c.tol.toPrecision(2))),
      grade: c.grade,
      guard: c.guard ?? null,
      source: c.source,
    }
  })
  const passed = rows.filter((r) => r.ok).length
  return { rows, notCovered, passed, failed: rows.length - passed }
}

/** Outside truth: printed or transcribed, and able to fail. */
export const isTruth = (c: Pick<Row, 'grade' | 'guard'>): boolean => 'PQ'.includes(c.grade) && c.guard === null

/** Lines for the terminal, the counts last. */
export function linesOf(r: Report): readonly string[] {
  return [
    ...r.rows.map((c) => `${c.ok ? 'pass' : 'FAIL'}  ${c.id.padEnd(20)} ${c.what}: ours ${c.ours}, expected ${c.expected} within ${c.within}  [${mark(c)}] ${c.source}`),
    '',
    ...r.notCovered.map((c) => `none  ${c.id.padEnd(20)} ${c.what}: expected ${c.expected}  [${c.grade}] not covered: ${c.why}`),
    '',
    ...counts(r),
    `${r.passed} passed, ${r.failed} failed`,
  ]
}

/** The same as Markdown. */
export function markdownOf(r: Report): string {
  const cell = (s: string): string => s.replaceAll('|', '\\|')
  const row = (cells: readonly string[]): string => `| ${cells.map(cell).join(' | ')} |`
  return [
    '# Published checks',
    '',
    'Every figure that our arithmetic is held against, where it stands in print, and what we get. Written by `npm run published -- --write`; a test keeps it in step.',
    '',
    ...counts(r).map((line) => `- ${line.trim()}`),
    `- ${r.passed} passed, ${r.failed} failed`,
    '',
    row(['id', 'what', 'ours', 'expected', 'within', 'grade', 'source', 'result']),
    row(['---', '---', '---:', '---:', '---:', '---', '---', '---']),
    ...r.rows.map((c) => row([c.id, c.what, c.ours, c.expected, c.within, mark(c), c.guard === null ? c.source : `${c.source} (guard: ${c.guard})`, c.ok ? 'pass' : 'FAIL'])),
    '',
    '## Not covered',
    '',
    'Printed figures nothing of ours computes.',
    '',
    row(['id', 'what', 'expected', 'grade', 'why']),
    row(['---', '---', '---:', '---', '---']),
    ...r.notCovered.map((c) => row([c.id, c.what, String(c.expected), c.grade, c.why])),
    '',
  ].join('\n')
}

function counts(r: Report): readonly string[] {
  const guards = r.rows.filter((c) => c.guard !== null)
  const line = (n: number, words: string): string => `${String(n).padStart(4)}  ${words}`
  return [
    ...Object.entries(GRADES).map(([grade, words]) => line(r.rows.filter((c) => c.grade === grade && c.guard === null).length, `[${grade}] ${words}`)),
    line(guards.length, 'guards: a constant beside itself or figures handed in, which cannot fail by computation; of any grade, counted nowhere above'),
    line(r.rows.filter((c) => isTruth(c) && c.ok).length, 'of outside truth (P and Q, guards left out) pass'),
    line(r.rows.filter((c) => isTruth(c) && !c.ok).length, 'of outside truth fail'),
    line(r.notCovered.length, 'not covered, each with its reason'),
  ]
}

const mark = (c: Row): string => (c.guard === null ? c.grade : `${c.grade}, guard`)

/** Seven figures, and nothing where rounding alone is seen: the last bits differ from machine to machine. */
function figure(ours: number, tol: number): string {
  return Math.abs(ours) < tol / 1000 ? '0' : String(Number(ours.toPrecision(7)))
}

function readNotCovered(): readonly NotCovered[] {
  return (JSON.parse(readFileSync(new URL('not-covered.json', import.meta.url), 'utf8')) as { values: readonly NotCovered[] }).values
}
