/** A composed gateway over one small loop, on a clock moved by hand; the plant is a row of figures a test changes. */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { compose, type Parts } from '../../gateway/compose.ts'
import type { Clock } from '../../gateway/clock.ts'
import type { GatewayCore } from '../../gateway/gateway.ts'
import type { CheckLine } from '../../gateway/alarms/visit-check.ts'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'

export const SITE = 'hallowmere-2'
export const MIN = 60_000
export const START = Date.UTC(2026, 5, 10, 8)

const FILE = `id: ${SITE}
name: Hallowmere Gravel, yard 2
zone: Europe/London
yardPhone: "0700 555 0112"
sampleEvery: 60s
reportEvery: 60s
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: treatment, volumeL: 2300 }
  - { stage: bio, volumeL: 7600 }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  blower: { kind: aerator, name: Blower, serves: [tu, bio1] }
  transfer: { kind: pump, name: Transfer pump }
  acid: { kind: dosing, name: Acid pump, doses: acid, serves: [tu] }
  hp: { kind: washer, name: Washer }
signals:
  tu.do:
  blower.run:
  blower.pressure:
  transfer.run:
  acid.run:
  acid.auto:
  hp.run:
  mains.present:
  panel.uptime:
  sump.h2s:
  finished.level:
`

export interface Stage {
  readonly clock: Clock
  readonly dataDir: string
  readonly plant: Record<string, number>
  /** What the controller makes of a row of the plant. */
  payload: (nowMs: number, plant: Readonly<Record<string, number>>) => string
  core(): GatewayCore
  /** Lets minutes pass, with a row of the plant each; `silent`: without rows. */
  minutes(n: number, silent?: boolean): Promise<void>
  /** Ends the gateway and starts another on the same folder, `awayMin` later. */
  restart(awayMin?: number): Promise<void>
  settle(): Promise<void>
  alarm(key: string): AlarmView
  lines(kind?: 'visit' | 'power'): Readonly<Record<string, CheckLine['outcome']>>
  close(): Promise<void>
}

export async function openStage(more: { file?: string; startMs?: number } = {}): Promise<Stage> {
  const dataDir = mkdtempSync(join(tmpdir(), 'loopkeeper-stage-'))
  const siteDir = join(dataDir, 'sites')
  mkdirSync(siteDir)
  writeFileSync(join(siteDir, 'site.yaml'), `${FILE}${more.file ?? ''}`)
  const startMs = more.startMs ?? START
  let nowMs = startMs
  let steadyMs = 0
  const clock: Clock = { nowMs: () => nowMs, steadyMs: () => steadyMs }
  const plant: Record<string, number> = {
    'tu.do': 7,
    'blower.run': 1,
    'blower.pressure': 210,
    'transfer.run': 0,
    'acid.run': 0,
    'acid.auto': 1,
    'hp.run': 0,
    'mains.present': 1,
    'panel.uptime': 900_000,
    'sump.h2s': 0,
    'finished.level': 70,
  }
  let parts: Parts
  let core: GatewayCore
  const open = async (): Promise<void> => {
    parts = await compose({ dataDir, synchronous: 'normal', prefix: 'loopkeeper/v1' }, clock, siteDir)
    core = parts.start({ brokers: () => [], counters: () => [], troubles: () => [] })
  }
  await open()
  const settle = async (): Promise<void> => {
    const waiting = (): number => core.port.health().counters.find((c) => c.name === 'journalWaiting')?.value ?? 0
    for (let i = 0; i < 20 || waiting() > 0; i++) await new Promise((done) => setImmediate(done))
  }
  const stage: Stage = {
    clock,
    dataDir,
    plant,
    payload: (t, signals) => JSON.stringify({ t, signals }),
    core: () => core,
    settle,
    async minutes(n, silent = false) {
      for (let i = 0; i < n; i++) {
        for (let s = 0; s < 60; s += 10) {
          nowMs += 10_000
          steadyMs += 10_000
          if (s === 50 && !silent) {
            plant['panel.uptime'] = (plant['panel.uptime'] ?? 0) + 60
            parts.intake.take({
              topic: `loopkeeper/v1/${SITE}`,
              payload: Buffer.from(stage.payload(nowMs, plant)),
              receivedMs: nowMs,
              site: SITE,
              broker: 'own',
              retained: false,
            })
          }
          core.tick()
        }
        await settle()
      }
    },
    async restart(awayMin = 0) {
      await settle()
      await parts.stop()
      nowMs += awayMin * MIN
      steadyMs = 0
      await open()
      core.tick()
      await settle()
    },
    alarm(key) {
      const view = core.port.alarmsOf(SITE).find((a) => a.def.id === `${SITE}/${key}`)
      if (!view) throw new Error(`no alarm ${key}`)
      return view
    },
    lines(kind = 'visit') {
      const check = core.port.loopState(SITE)?.checks.find((c) => c.kind === kind)
      return Object.fromEntries((check?.lines ?? []).map((l) => [l.id, l.outcome]))
    },
    async close() {
      await parts.stop()
      rmSync(dataDir, { recursive: true, force: true })
    },
  }
  return stage
}
