/** Runs an engine over a day of a small yard: time goes on by hand, everything told is kept. */
import type { AlarmDef, AlarmEvent, AlarmView } from '../../gateway/alarms/alarm.ts'
import { onReadings, onTick } from '../../gateway/alarms/engine.ts'
import { createEngine, viewOf, type Engine, type Told } from '../../gateway/alarms/engine-state.ts'
import type { Life } from '../../gateway/alarms/life.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { handClock, loop, reading, type HandClock } from './yard.ts'

export interface Watch {
  readonly engine: Engine
  readonly clock: HandClock
  /** Wall clock at the start, ms. */
  readonly t0: number
  readonly told: Told[]
  /** What was told as `kind rule @seconds-since-start`, cleared by reading it. */
  news(): string[]
  /** One row of a controller, stamped now. */
  row(values: Readonly<Record<string, number | null>>): void
  take(...readings: Reading[]): void
  /** Both clocks go on by `seconds`, one tick at the end. */
  wait(seconds: number): void
  tick(): void
  view(rule: string): AlarmView
  heard: number | null
}

export function watch(defs: readonly AlarmDef[], more: { site?: Site; startMs?: number; lives?: ReadonlyMap<string, Life> } = {}): Watch {
  const clock = handClock(more.startMs)
  const t0 = clock.nowMs()
  const now = () => ({ nowMs: clock.nowMs(), steadyMs: clock.steadyMs() })
  const engine = createEngine(defs, [more.site ?? loop()], now(), more.lives)
  const told: Told[] = []
  let read = 0
  const w: Watch = {
    engine,
    clock,
    t0,
    told,
    heard: null,
    news() {
      const fresh = told.slice(read)
      read = told.length
      return fresh.map(({ event: e }) => `${e.kind} ${short(e)} @${(e.atMs - t0) / 1000}`)
    },
    row(values) {
      w.take(...Object.entries(values).map(([signal, v]) => reading(signal, v, clock.nowMs())))
    },
    take(...readings) {
      w.heard = clock.nowMs()
      told.push(...onReadings(engine, readings, now()))
    },
    wait(seconds) {
      clock.advance(seconds * 1000)
      w.tick()
    },
    tick() {
      told.push(...onTick(engine, now(), () => w.heard))
    },
    view(rule) {
      const run = [...engine.runs.values()].find((r) => r.def.id.endsWith(`/${rule}`))
      if (!run) throw new Error(`no alarm ${rule}: ${[...engine.runs.keys()].join(' ')}`)
      return viewOf(run)
    },
  }
  return w
}

const short = (e: AlarmEvent): string => e.alarm.slice(e.alarm.indexOf('/') + 1)
