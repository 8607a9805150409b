import { cpSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { expect, test } from 'vitest'
import { compose } from '../../gateway/compose.ts'
import type { GatewayEvent } from '../../gateway/port.ts'
import { keyOf, siteOfKey } from '../../gateway/site/reading.ts'
import { MIN } from './plant.ts'

const SITE = 'bramscar-slate-yard'
const START = Date.UTC(2026, 10, 3)

test('a message that comes in brings its vitals: stored in the history, told to listeners, explained by the port, and remembered over a restart', async () => {
  const dataDir = mkdtempSync(join(tmpdir(), 'vitals-product-'))
  const siteDir = join(dataDir, 'sites')
  cpSync(fileURLToPath(new URL(`../../simulator/fleets/demo/${SITE}.yaml`, import.meta.url)), join(siteDir, `${SITE}.yaml`))
  let nowMs = START
  const clock = { nowMs: () => nowMs, steadyMs: () => nowMs - START }
  const around = { brokers: () => [], counters: () => [], troubles: () => [] }
  const open = () => compose({ dataDir, synchronous: 'normal', prefix: 'loopkeeper/v1' }, clock, siteDir)
  const settle = (): Promise<void> => new Promise((done) => setImmediate(done))
  try {
    const parts = await open()
    const core = parts.start(around)
    const told: GatewayEvent[] = []
    core.port.subscribe((e) => told.push(e))
    await core.port.log.add({ site: SITE, kind: 'kit', atMs: START, item: 'alkalinity', value: 110, unit: 'mg/L' }, 'R. Vane')
    const message = (m: number): void => {
      nowMs = START + m * MIN
      const signals = { 'tu.do': 7.9 + (m % 3) / 10, 'tu.temperature': 16.5, 'blower.run': 1, 'blower.pressure': 170, 'finished.level': 60, 'tu.ph': 7.6 }
      parts.intake.take({
        topic: `loopkeeper/v1/${SITE}`,
        payload: Buffer.from(JSON.stringify({ t: nowMs, signals })),
        receivedMs: nowMs,
        site: SITE,
        broker: 'own',
        retained: false,
      })
      core.tick()
    }
    for (let m = 0; m < 70; m++) {
      message(m)
      await settle()
    }
    const key = keyOf(SITE, 'tu.do.saturation')
    const stored = await parts.history.range(key, START, nowMs + 1, 100)
    expect(stored.length).toBeGreaterThan(20)
    expect(stored.every((r) => r.quality === 'good' && r.value !== null && r.value > 70 && r.value < 100)).toBe(true)
    const heard = told.flatMap((e) => (e.kind === 'readings' ? e.readings.filter((r) => r.key === key) : []))
    expect(heard.map((r) => r.sourceMs)).toEqual(stored.map((r) => r.sourceMs))
    const of = (id: string) => core.port.vitals(SITE).find((v) => v.def.id === id)?.outcome
    expect(of('tu.alkalinity')).toMatchObject({ kind: 'told', value: 110 })
    expect(of('wash.minutes-left')).toMatchObject({ kind: 'told' })
    expect(core.port.site(SITE)?.latest.get('tu.do.saturation')?.value).toBeCloseTo(stored.at(-1)?.value ?? 0, 6)
    expect(core.port.health().counters.map((c) => c.name)).toContain('vitalsGiven')
    expect(core.port.vitals('nowhere')).toEqual([])
    // The rest of the house takes no computed reading for one of a stranger.
    expect(core.port.health().troubles).toEqual([])
    expect(heard.every((r) => siteOfKey(r.key) === SITE)).toBe(true)
    await parts.stop()

    const again = await open()
    const second = again.start(around)
    for (let m = 70; m < 130; m++) {
      nowMs = START + m * MIN
      again.intake.take({
        topic: `loopkeeper/v1/${SITE}`,
        payload: Buffer.from(JSON.stringify({ t: nowMs, signals: { 'tu.do': 8, 'tu.temperature': 16 } })),
        receivedMs: nowMs,
        site: SITE,
        broker: 'own',
        retained: false,
      })
      second.tick()
      await settle()
    }
    expect(second.port.vitals(SITE).find((v) => v.def.id === 'tu.alkalinity')?.outcome).toMatchObject({ kind: 'told' })
    await again.stop()
  } finally {
    rmSync(dataDir, { recursive: true, force: true })
  }
})
