/** `npm run bench [subject]`: runs one bench or all, each in a process of its own so that they do not warm each other. */
import { spawnSync } from 'node:child_process'
import { readdirSync } from 'node:fs'
import { fileURLToPath } from 'node:url'

const here = fileURLToPath(new URL('.', import.meta.url))
const subjects = readdirSync(here)
  .filter((n) => n.endsWith('.ts') && !['run.ts', 'figure.ts'].includes(n) && !n.includes('-'))
  .map((n) => n.slice(0, -3))
const asked = process.argv.slice(2)
const unknown = asked.filter((a) => !subjects.includes(a))
if (unknown.length > 0) {
  console.error(`no bench named ${unknown.join(', ')}: there are ${subjects.join(', ')}`)
  process.exit(2)
}
let worst = 0
for (const subject of asked.length > 0 ? asked : subjects) {
  console.log(`\n== ${subject} ==`)
  worst = Math.max(worst, spawnSync(process.execPath, ['--import', 'tsx', `${here}${subject}.ts`], { stdio: 'inherit' }).status ?? 1)
}
process.exit(worst)
