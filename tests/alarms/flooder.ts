/** An alarm flood for as long as it lives: 200 contacts of one loop come and go through a real keeper and journal; prints each event once it is told. */
import { writeSync } from 'node:fs'
import { join } from 'node:path'
import { openJournal } from '../../gateway/alarms/journal.ts'
import { startAlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { openDatabase } from '../../gateway/database.ts'
import { def, handClock, loop, reading, SITE } from './yard.ts'

const dir = process.argv[2] ?? ''
const clock = handClock(1_767_600_000_000 + Number(process.argv[3] ?? 0) * 86_400_000)
const journal = await openJournal(await openDatabase(join(dir, 'state.db')))
const defs = Array.from({ length: 200 }, (_, i) => def({ kind: 'state', signal: 'sump.high-high', value: 1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/contact.${i}` }))
const keeper = await startAlarmKeeper({
  sites: new Map([[SITE, loop()]]),
  defs,
  journal,
  clock,
  emit: (e) => writeSync(1, `${e.kind} ${e.occurrence}\n`),
})
for (let n = 0; ; n++) {
  clock.advance(1000)
  keeper.onReadings([reading('sump.high-high', n % 2, clock.nowMs())])
  // A person is busy with them too: some are shelved, and taken off again.
  const view = keeper.alarmsOf(SITE)[n % 200]
  if (view) {
    const { version } = view
    await (view.shelved
      ? keeper.unshelve(view.def.id, 'J. Orme', version)
      : keeper.shelve(view.def.id, { untilMs: clock.nowMs() + 60_000, oneShot: false, reason: 'flood' }, 'J. Orme', version))
  }
  keeper.tick(clock.nowMs(), () => clock.nowMs())
  await new Promise((done) => setImmediate(done))
}
