/** `npm run history COMMAND`: looks after the embedded history. The commands stand in history/commands/. */
import { once } from 'node:events'
import { runHistory } from './history/commands/commands.ts'

let asked = false
process.on('SIGINT', () => {
  // A second time it ends at once; what is committed stays.
  if (asked) process.exit(130)
  asked = true
})
// Whoever reads our output may stop early, as `head` does: no fault of ours.
process.stdout.on('error', (e: NodeJS.ErrnoException) => {
  if (e.code === 'EPIPE') process.exit(0)
  throw e
})
process.exitCode = await runHistory(
  {
    clock: { nowMs: () => Date.now(), steadyMs: () => performance.now() },
    env: process.env,
    // A slow reader of our output is waited for.
    out: async (text) => {
      if (!process.stdout.write(text)) await once(process.stdout, 'drain')
    },
    err: process.stderr,
    interrupted: () => asked,
  },
  process.argv.slice(2),
)
