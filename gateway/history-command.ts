/** `npm run history COMMAND`: looks after the embedded history. The commands stand in history/commands/. */
import { once } from 'node:events'
import { runHistory } from './history/commands/commands.ts'

let asked = false
process.on('SIGINT', () => {
  // What is committed stays, whenever it ends.
  if (asked) process.exit(130)
  asked = true
  process.stderr.write('\nstopping at the next place to go on from; Ctrl-C again ends it at once\n')
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
