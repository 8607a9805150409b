/**
 * Random days in the life of a keeper: readings good, doubtful and bad, silence, answers right and wrong, a journal that
 * fails and comes back, orderly restarts and plain crashes. Whatever the order, the promises of the design must hold.
 */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import type { AlarmEvent, AlarmView } from '../../gateway/alarms/alarm.ts'
import { startAlarmKeeper, type AlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { rebuild } from '../../gateway/alarms/life.ts'
import type { Database } from '../../gateway/database.ts'
import { fickle, makeDisk, settled, type Disk, type Fickle } from './disk.ts'
import { def, handClock, limitDef, loop, reading, SITE } from './yard.ts'

const DEFS = [
  limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 60_000, offDelayMs: 30_000 }),
  def({ kind: 'state', signal: 'sump.high-high', value: 1, onDelayMs: 0, offDelayMs: 0 }, { priority: 'high' }),
  limitDef('sump.h2s', { side: 'high', limit: 5, deadband: 1, onDelayMs: 0, offDelayMs: 0 }, { latching: true, priority: 'high' }),
  def({ kind: 'state', signal: 'panel.auto', value: 0, onDelayMs: 0, offDelayMs: 0 }, { priority: 'alert' }),
]

type Step =
  | { readonly kind: 'row'; readonly ph: number | null; readonly wet: number | null; readonly h2s: number; readonly auto: number }
  | { readonly kind: 'wait'; readonly seconds: number }
  | { readonly kind: 'answer'; readonly reset: boolean; readonly which: number; readonly old: boolean }
  | { readonly kind: 'fail'; readonly on: boolean }
  | { readonly kind: 'restart'; readonly crash: boolean }

const step: fc.Arbitrary<Step> = fc.oneof(
  {
    weight: 10,
    arbitrary: fc.record({
      kind: fc.constant('row' as const),
      ph: fc.constantFrom(7, 8.95, 9.5, null),
      wet: fc.constantFrom(0, 1, null),
      h2s: fc.constantFrom(0, 8),
      auto: fc.constantFrom(0, 1),
    }),
  },
  { weight: 8, arbitrary: fc.record({ kind: fc.constant('wait' as const), seconds: fc.constantFrom(1, 30, 60, 500) }) },
  { weight: 5, arbitrary: fc.record({ kind: fc.constant('answer' as const), reset: fc.boolean(), which: fc.nat({ max: 3 }), old: fc.boolean() }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('fail' as const), on: fc.boolean() }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('restart' as const), crash: fc.boolean() }) },
)

interface Living {
  readonly db: Database
  readonly journal: Fickle
  readonly keeper: AlarmKeeper
}

const stable = (v: AlarmView) => ({
  id: v.def.id,
  state: v.state,
  occurrence: v.occurrence,
  version: v.version,
  count: v.count,
  raisedMs: v.raisedMs,
  clearedMs: v.clearedMs,
  by: v.acknowledgedBy,
})

test('whatever happens in whatever order: state is what the journal says, nothing is announced twice, nothing that stands is forgotten', async () => {
  await fc.assert(
    fc.asyncProperty(fc.array(step, { minLength: 5, maxLength: 45 }), async (steps) => {
      const disk = makeDisk()
      try {
        await live(disk, steps)
      } finally {
        await disk.remove()
      }
    }),
    { numRuns: 60 },
  )
})

async function live(disk: Disk, steps: readonly Step[]): Promise<void> {
  const clock = handClock()
  const emitted: AlarmEvent[] = []
  const start = async (): Promise<Living> => {
    const { db, journal } = await disk.open()
    const f = fickle(journal)
    const keeper = await startAlarmKeeper({ sites: new Map([[SITE, loop()]]), defs: DEFS, journal: f, clock, emit: (e) => emitted.push(e) })
    return { db, journal: f, keeper }
  }
  let now = await start()
  let failing = false
  let heard: number | null = null
  const counter = (name: string): number => now.keeper.counters().find((c) => c.name === name)?.value ?? 0
  const tick = (): void => now.keeper.tick(clock.nowMs(), () => heard)
  const settle = async (): Promise<void> => {
    // A tick is what tries a failed journal again. While it fails, let what is on its way to it arrive there.
    if (!failing) tick()
    await settled(() => counter('journalWaiting') === 0 || failing, 'the journal')
    if (failing) await new Promise((done) => setImmediate(done))
  }
  const row = (values: Readonly<Record<string, number | null>>): void => {
    heard = clock.nowMs()
    now.keeper.onReadings(Object.entries(values).map(([s, v]) => reading(s, v, clock.nowMs())))
  }

  for (const s of steps) {
    if (s.kind === 'row') row({ 'tu.ph': s.ph, 'sump.high-high': s.wet, 'sump.h2s': s.h2s, 'panel.auto': s.auto })
    else if (s.kind === 'wait') {
      clock.advance(s.seconds * 1000)
      tick()
    } else if (s.kind === 'answer') {
      const seen = now.keeper.alarmsOf(SITE)[s.which]
      const occurrence = s.old ? `${seen?.def.id}@1-0` : (seen?.occurrence ?? 'none')
      const act = s.reset ? now.keeper.reset : now.keeper.acknowledge
      const r = await act(seen?.def.id ?? '', occurrence, 'A. Reyes', null, seen?.version)
      if (s.old) expect(r.ok && s.reset === false).toBe(false)
      if (r.ok && !s.reset) expect(r.view.state).not.toMatch(/^unacknowledged$|^returned$|^latched-unacknowledged$/)
    } else if (s.kind === 'fail') {
      failing = s.on
      now.journal.fail = s.on ? 'disk full' : null
    } else {
      const before = now.keeper.standing().map(stable)
      if (s.crash) await now.db.destroy()
      else {
        await now.keeper.stop()
        await now.db.destroy()
      }
      const wereFailing = failing
      failing = false
      const shown = wereFailing || !s.crash ? null : before
      now = await start()
      // What people were shown before a crash is what they are shown after it.
      if (shown) expect(now.keeper.standing().map(stable)).toEqual(shown)
    }
    await settle()
  }

  // The journal comes back, the plant settles into one fault and three healthy signals.
  failing = false
  now.journal.fail = null
  for (let i = 0; i < 10; i++) {
    clock.advance(30_000)
    row({ 'tu.ph': 9.5, 'sump.high-high': 0, 'sump.h2s': 0, 'panel.auto': 1 })
    tick()
    await settle()
  }
  await settled(() => counter('journalWaiting') === 0, 'an empty queue')

  const written = (await now.keeper.journal({ fromMs: 0, toMs: 1e14, limit: 10_000 })).toReversed()
  const lives = rebuild(written)
  expect(new Map(now.journal.lives())).toEqual(lives)
  for (const v of now.keeper.alarmsOf(SITE)) {
    const life = lives.get(v.def.id)
    expect(stable(v)).toEqual({
      id: v.def.id,
      state: life?.state ?? 'normal',
      occurrence: life?.occurrence ?? null,
      version: life?.version ?? 0,
      count: life?.count ?? 0,
      raisedMs: life?.raisedMs ?? null,
      clearedMs: life?.clearedMs ?? null,
      by: life?.acknowledgedBy ?? null,
    })
  }

  // Told exactly what was written, in that order, nothing twice.
  expect(emitted.map((e) => `${e.kind} ${e.occurrence} ${e.atMs}`)).toEqual(written.map((e) => `${e.kind} ${e.occurrence} ${e.atMs}`))
  const raised = emitted.filter((e) => e.kind === 'raised').map((e) => e.occurrence)
  expect(new Set(raised).size).toBe(raised.length)

  // The fault that is there stands, the ones that are not there do not.
  const state = (signal: string): string => now.keeper.alarmsOf(SITE).find((v) => v.def.id === `${SITE}/${signal}.test`)?.state ?? '?'
  expect(state('tu.ph')).toMatch(/^(un)?acknowledged$/)
  expect(state('sump.high-high')).toMatch(/^(normal|returned)$/)
  expect(state('sump.h2s')).toMatch(/^(normal|latched-(un)?acknowledged)$/)
  expect(state('panel.auto')).toBe('normal')
  await now.keeper.stop()
}
