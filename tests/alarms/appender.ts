/** Appends alarm events to the journal in the folder given, for as long as it lives; prints the number of each once it is on disk. */
import { join } from 'node:path'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { openJournal } from '../../gateway/alarms/journal.ts'
import { transition } from '../../gateway/alarms/lifecycle.ts'
import { BORN, type Life } from '../../gateway/alarms/life.ts'
import { openDatabase } from '../../gateway/database.ts'

const dir = process.argv[2] ?? ''
const db = await openDatabase(join(dir, 'state.db'))
const journal = await openJournal(db)
const lives = new Map<string, Life>(journal.lives())
for (let n = 0; ; n++) {
  const batch: AlarmEvent[] = []
  for (let i = 0; i < 40; i++) {
    const alarm = `yard-${i % 7}/tu.do.low`
    const facts = { alarm, latching: false, answerRequired: true, defVersion: 1 }
    const life = lives.get(alarm) ?? BORN
    const input = life.state === 'unacknowledged' ? ({ kind: 'clear', atMs: n, value: 3 } as const) : ({ kind: 'raise', atMs: n, value: 1, limit: 2, unit: 'mg/L' } as const)
    const r = transition(life, input, facts, n)
    lives.set(alarm, r.life)
    batch.push(...r.events)
  }
  const seqs = await journal.append(batch)
  process.stdout.write(`${seqs.at(-1)}\n`)
}
