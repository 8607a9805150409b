import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, expect, test } from 'vitest'
import { MIN, openStage, SITE, type Stage } from './stage.ts'

const open: Stage[] = []
afterEach(async () => {
  for (const s of open.splice(0)) await s.close()
})

/** Lengths in minutes of the acid pulses the rule for a run without end has learned. */
function pulses(s: Stage): readonly number[] {
  const file = JSON.parse(readFileSync(join(s.dataDir, 'learned', `${SITE}.json`), 'utf8')) as { alarms: Record<string, Record<string, number[][]>> }
  return (file.alarms[`${SITE}/acid.run.long`]?.['acid.run pulses']?.[0] ?? []).map((ms) => ms / MIN)
}

test('acid pulses of a visit, of planned work, of a rest and of the fortnight after it teach nothing; those before and between do', async () => {
  const s = await openStage()
  open.push(s)
  const { port } = s.core()
  const desk = () => s.core().port.stateDesk
  const pulse = async (min: number): Promise<void> => {
    s.plant['acid.run'] = 1
    await s.minutes(min)
    s.plant['acid.run'] = 0
    await s.minutes(3)
  }
  const ok = (r: { readonly ok: boolean }): void => expect(r).toMatchObject({ ok: true })
  expect(port.sites()).toHaveLength(1)
  await s.minutes(3)
  await pulse(1)
  ok(await desk().checkIn(SITE, { untilMs: s.clock.nowMs() + 60 * MIN, why: 'probe' }, 'Ines'))
  await pulse(2)
  // The pause is known again after a restart before anything is learned.
  await s.restart(1)
  await pulse(2)
  ok(await desk().checkOut(SITE, { person: null, note: null }, 'Ines'))
  await s.minutes(2)
  await pulse(1)
  ok(await desk().set(SITE, { state: 'planned-work', untilMs: s.clock.nowMs() + 60 * MIN, why: 'new hose' }, 'Ines'))
  await pulse(2)
  ok(await desk().end(SITE, 'planned-work', 'Ines'))
  await s.minutes(2)
  await pulse(1)
  ok(await desk().set(SITE, { state: 'resting', untilMs: null, why: null }, 'Ines'))
  await pulse(2)
  ok(await desk().end(SITE, 'resting', 'Ines'))
  await pulse(2)
  await s.restart()
  expect(pulses(s)).toEqual([1, 1, 1])
})
