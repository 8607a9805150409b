/** Socket messages as bytes, made once and shared by every browser they go to. */
import type { GatewayEvent, SiteState } from '../../gateway/port.ts'
import { alarmBodyOf } from '../bodies/alarm.ts'
import { entryBodyOf } from '../bodies/loop-detail.ts'
import type { LiveMessage, ValueTuple } from '../wire.ts'

export const frameOf = (message: LiveMessage): Buffer => Buffer.from(JSON.stringify(message))

export const alarmFrame = (e: Extract<GatewayEvent, { kind: 'alarm' }>, state: SiteState, nowMs: number): Buffer =>
  frameOf({ t: 'alarm', nowMs, event: e.event.kind, alarm: alarmBodyOf(e.view, state, nowMs) })

export const entryFrame = (e: Extract<GatewayEvent, { kind: 'log' }>, nowMs: number): Buffer => frameOf({ t: 'entry', nowMs, entry: entryBodyOf(e.entry) })

/** Newest values of a site, of the signals that `wanted` lets through; null when there are none. */
export function valuesFrame(state: SiteState, wanted: (signal: string) => boolean, nowMs: number): Buffer | null {
  const values: ValueTuple[] = []
  for (const [id, r] of state.latest) if (wanted(id)) values.push([id, r.value, r.quality, r.sub, r.sourceMs, r.receivedMs])
  return values.length === 0 ? null : frameOf({ t: 'values', nowMs, site: state.site.id, values })
}

/** `hello` and `loops` from loops that are JSON already: a fleet of 2,000 is not written anew because one loop changed. */
export const helloFrame = (nowMs: number, version: string, troubles: readonly string[], loops: Iterable<string>): Buffer =>
  Buffer.from(`{"t":"hello","nowMs":${nowMs},"version":${JSON.stringify(version)},"troubles":${JSON.stringify(troubles)},"loops":[${[...loops].join(',')}]}`)

export const loopsFrame = (nowMs: number, loops: Iterable<string>): Buffer => Buffer.from(`{"t":"loops","nowMs":${nowMs},"loops":[${[...loops].join(',')}]}`)
