/**
 * `npm run published`: prints every published check with our figure beside the printed one, and closes with the counts.
 * Leaves with 1 when a check fails, or when there is none.
 */
import { CASES } from './cases.ts'
import { judge } from './table.ts'

const GRADES: Readonly<Record<string, string>> = {
  P: 'printed in the source itself',
  Q: 'through a copy or transcription of the source',
  M: 'from memory',
  T: 'computed by a tool nobody here wrote',
  X: 'definition or exact arithmetic',
  C: 'computed from a published formula: guards against change, no outside truth',
}

let passed = 0
let failed = 0
const byGrade = new Map<string, number>()
for (const c of CASES) {
  const v = judge(c)
  if (v.ok) passed += 1
  else failed += 1
  byGrade.set(c.grade, (byGrade.get(c.grade) ?? 0) + 1)
  const figure = v.trouble ?? `ours ${v.ours.toPrecision(8)}`
  console.log(`${v.ok ? 'pass' : 'FAIL'}  ${c.id.padEnd(14)} ${c.what}: ${figure}, expected ${c.expected} within ${Number(c.tol.toPrecision(2))}  [${c.grade}] ${c.source}`)
}
console.log('')
for (const [grade, words] of Object.entries(GRADES)) console.log(`${String(byGrade.get(grade) ?? 0).padStart(4)}  [${grade}] ${words}`)
console.log(`${passed} passed, ${failed} failed`)
process.exitCode = failed > 0 || passed === 0 ? 1 : 0
