/** Commands of `npm run history` run in the test itself, and a yard whose signals they are about. */
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Clock } from '../../gateway/clock.ts'
import { runHistory } from '../../gateway/history/commands/commands.ts'
import { handClock } from './store.ts'

export interface Ran {
  readonly code: number
  readonly out: string
  readonly err: string
}

export interface Around {
  readonly clock?: Clock
  readonly interrupted?: () => boolean
  readonly isTTY?: boolean
}

/** The clock of commands unless said: 5 January 2026, 06:00 UTC. */
export async function history(args: readonly string[], around: Around = {}): Promise<Ran> {
  const out: string[] = []
  const err: string[] = []
  const code = await runHistory(
    {
      clock: around.clock ?? handClock(Date.UTC(2026, 0, 5, 6)),
      env: {},
      out: (text) => void out.push(text),
      err: { isTTY: around.isTTY ?? false, write: (text: string) => void err.push(text) },
      interrupted: around.interrupted ?? (() => false),
    },
    args,
  )
  return { code, out: out.join(''), err: err.join('') }
}

/** Quarry Road: signals with the report interval given, so that a file's own interval is no gap. */
export function putSite(dataDir: string, every: string): void {
  const at = `{ sampleEvery: ${every}, reportEvery: ${every} }`
  mkdirSync(join(dataDir, 'sites'), { recursive: true })
  writeFileSync(
    join(dataDir, 'sites', 'quarry-road.yaml'),
    `id: quarry-road
name: Quarry Road plant wash
area: Stone and gravel
zone: Europe/Lisbon
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: treatment, volumeL: 2300, retention: carriers }
  - { stage: bio, volumeL: 7600 }
  - { stage: bio, volumeL: 7600 }
  - { stage: finished, volumeL: 5700 }
signals:
  tu.ph: ${at}
  tu.do: ${at}
  tu.temperature: ${at}
  bio1.do: ${at}
  bio1.temperature: ${at}
  bio2.do: ${at}
  sump.level: ${at}
  finished.turbidity: ${at}
  finished.conductivity: ${at}
`,
  )
}
