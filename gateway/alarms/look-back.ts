/**
 * Looking back after a restart. A delay that was running when the gateway stopped would begin anew, an hour late for some
 * alarms; the stored readings know when it really began. Only signals whose newest value leaves a question open are read
 * back, and what they lead to is told once, not replayed.
 */
import type { Reading } from '../site/reading.ts'
import { catchUp, onReadings } from './engine.ts'
import type { Engine, Now, Stored, Told } from './engine-state.ts'
import { known } from './signal-memory.ts'

export interface Span {
  readonly key: string
  readonly fromMs: number
}

/** A value older than this at the start says nothing about the present: its delays begin anew with the next one. */
const STILL_EVIDENCE_MS = 3_600_000

/**
 * Delays that must have been running when the gateway stopped, as far as the newest stored values tell: which readings to
 * look at again, from when. A few signals, not the fleet: only values that are beyond a limit without a standing alarm, or back
 * inside with one.
 */
export function openDelays(engine: Engine, now: Now): readonly Span[] {
  const from = new Map<string, number>()
  for (const run of engine.runs.values()) {
    const m = run.rule.restsOn()
    if (!m || !known(m) || now.steadyMs - m.steadyMs > Math.max(STILL_EVIDENCE_MS, m.staleAfterMs)) continue
    const verdict = run.rule.judge(m.sourceMs)
    const { onMs, offMs } = run.rule.delays()
    const active = run.delay.phase === 'active'
    const spanMs = verdict === 'violated' && !active ? onMs : verdict === 'cleared' && active ? offMs : 0
    if (spanMs === 0) continue
    // Twice the delay, so that a raise that fell due while we were away is given its own time and not the edge of what was read.
    for (const r of run.rule.reads) from.set(r.key, Math.min(from.get(r.key) ?? Number.POSITIVE_INFINITY, m.sourceMs - 2 * spanMs - r.staleAfterMs))
  }
  return [...from].map(([key, fromMs]) => ({ key, fromMs: Math.max(0, fromMs) }))
}

/** Goes through stored readings again, in the order of their time, without telling; then one change per alarm for what came of it. */
export function relive(engine: Engine, stored: readonly (Stored & { readonly key: string })[], now: Now): readonly Told[] {
  engine.quiet = true
  const readings = stored.map(
    (r): Reading => ({ key: r.key, sourceMs: r.sourceMs, receivedMs: r.receivedMs, value: r.value, quality: r.quality, sub: r.sub, qc: 2, clock: 'ok', live: true }),
  )
  readings.sort((a, b) => a.sourceMs - b.sourceMs || (a.key < b.key ? -1 : 1))
  for (let i = 0; i < readings.length; ) {
    const first = readings[i]
    if (!first) break
    let n = i + 1
    while (readings[n]?.sourceMs === first.sourceMs) n++
    onReadings(engine, readings.slice(i, n), { nowMs: now.nowMs, steadyMs: now.steadyMs - Math.max(0, now.nowMs - first.receivedMs) })
    i = n
  }
  engine.merged = 0
  return catchUp(engine, now)
}
