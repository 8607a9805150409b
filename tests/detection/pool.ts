/** Loops driven side by side, in a few processes. */
import { fork } from 'node:child_process'
import { availableParallelism } from 'node:os'
import { fileURLToPath } from 'node:url'
import type { FromDrive, ToDrive } from './drive-child.ts'
import type { LoopRun } from './label.ts'

/** Runs of the jobs, in their order. Rejects with what a process said when it could not. */
export async function driveAll(jobs: readonly ToDrive[], most: number, say: (line: string, run: LoopRun) => void): Promise<readonly LoopRun[]> {
  const out = new Map<string, LoopRun>()
  const waiting = [...jobs]
  await Promise.all(Array.from({ length: Math.min(most, availableParallelism(), jobs.length) }, () => worker()))
  return jobs.flatMap((j) => out.get(j.site) ?? [])

  async function worker(): Promise<void> {
    const child = fork(fileURLToPath(new URL('drive-child.ts', import.meta.url)), { execArgv: process.execArgv, stdio: ['ignore', 'ignore', 'inherit', 'ipc'] })
    try {
      for (let job = waiting.shift(); job; job = waiting.shift()) {
        const answer = await new Promise<FromDrive>((done, fail) => {
          child.once('message', (m: FromDrive) => done(m))
          child.once('exit', (code) => fail(new Error(`the process that drove ${job?.site} ended with code ${code}`)))
          child.send(job as ToDrive)
        })
        child.removeAllListeners('exit')
        if (!answer.ok) throw new Error(`${job.site}: ${answer.message}`)
        out.set(job.site, answer.run)
        say(`${job.site}: ${answer.run.labels.length} planted, ${answer.run.told.length} annunciations`, answer.run)
      }
    } finally {
      child.disconnect()
    }
  }
}
