/** `npm start`: prepares what is missing, then runs the product in one process of its own and ends with its exit code. */
import { spawn } from 'node:child_process'
import { join } from 'node:path'
import { ensureNode, ensurePackages, ensurePage, root } from './prepare.mjs'

ensureNode()
const say = (line) => console.log(`loopkeeper: ${line}`)
await ensurePackages(say)
await ensurePage(say)
const child = spawn(process.execPath, ['--import', 'tsx', join(root, 'server', 'main.ts'), ...process.argv.slice(2)], { stdio: 'inherit' })
// A terminal sends Ctrl-C to both of us, `kill` only to one: pass it on; the child begins to stop with the first and passes over the others.
for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP']) process.on(signal, () => child.kill(signal))
child.on('exit', (code, signal) => process.exit(code ?? (signal ? 1 : 0)))
