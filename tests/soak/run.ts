/** `npm run soak [subject]`: the long trials, each subject in a process of its own. */
import { spawnSync } from 'node:child_process'
import { fileURLToPath } from 'node:url'

const SUBJECTS = ['intake']
const asked = process.argv.slice(2)
const unknown = asked.filter((a) => !SUBJECTS.includes(a))
if (unknown.length > 0) {
  console.error(`no soak named ${unknown.join(', ')}: there are ${SUBJECTS.join(', ')}`)
  process.exit(2)
}
let worst = 0
for (const subject of asked.length > 0 ? asked : SUBJECTS) {
  console.log(`\n== ${subject} ==`)
  worst = Math.max(worst, spawnSync(process.execPath, ['--import', 'tsx', fileURLToPath(new URL(`./${subject}.ts`, import.meta.url))], { stdio: 'inherit' }).status ?? 1)
}
process.exit(worst)
