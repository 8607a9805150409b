/**
 * `npm run published`: prints every published check with our figure beside the printed one, what is not covered and why, and closes
 * with the counts. `-- --write` also writes TABLE.md. Leaves with 1 when a check fails, or when there is none.
 */
import { writeFileSync } from 'node:fs'
import { CASES } from './cases.ts'
import { linesOf, markdownOf, reportOf } from './report.ts'

const report = reportOf(CASES)
for (const line of linesOf(report)) console.log(line)
if (process.argv.includes('--write')) writeFileSync(new URL('TABLE.md', import.meta.url), markdownOf(report))
process.exitCode = report.failed > 0 || report.passed === 0 ? 1 : 0
