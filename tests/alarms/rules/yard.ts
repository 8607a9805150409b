/** A yard with what the learned rules need, and rows of a minute for hours and days. */
import type { Rule } from '../../../gateway/alarms/alarm.ts'
import type { Site } from '../../../gateway/site/site.ts'
import { def, loop } from '../yard.ts'
import { watch, type Watch } from '../watch.ts'

export const MIN = 60_000
export const HOUR = 60 * MIN
export const DAY = 24 * HOUR
/** A Monday, midnight in London, winter time. */
export const MONDAY = 1_768_176_000_000

/** `more`: further lines of its signals. */
export const yard = (more = ''): Site =>
  loop((t) =>
    t
      .replaceAll('30s', '60s')
      .replace('  hp: { kind: washer }\n', '  hp: { kind: washer }\n  transfer: { kind: pump, serves: [finished], nameplateA: 5 }\n  ozone: { kind: ozone, serves: [finished] }\n')
      .replace(
        '  hp.run:\n',
        '  hp.run:\n  hp.volume:\n  transfer.run:\n  transfer.current:\n  transfer.flow:\n  tu.orp:\n  finished.orp:\n  ozone.run:\n  bio1.turbidity:\n  bio2.do:\n',
      )
      .replace('signals:\n', `signals:\n${more}`),
  )

export const alarm = (rule: Rule, id = 'x'): ReturnType<typeof def> => def(rule, { id: `gravel-yard-2/${id}`, priority: 'low' })

type Values = Readonly<Record<string, number | null>>

/** Rows every `stepMs` for `ms`; `values` gets the time since the start of the watch. */
export function rows(w: Watch, ms: number, values: Values | ((sinceMs: number) => Values), stepMs = MIN): void {
  for (let at = 0; at < ms; at += stepMs) {
    w.row(typeof values === 'function' ? values(w.clock.nowMs() - w.t0) : values)
    w.wait(stepMs / 1000)
  }
}

export const begin = (rule: Rule, more: { startMs?: number } = {}): Watch => watch([alarm(rule)], { site: yard(), startMs: MONDAY, ...more })

/** Raised and cleared alone, with the minutes since the start. */
export const changes = (w: Watch): string[] =>
  w
    .news()
    .filter((n) => /^(raised|cleared)/.test(n))
    .map((n) => n.replace(/ x @(\d+(?:\.\d+)?)/, (_, s: string) => ` ${Number(s) / 60}`))

/** Seeded noise between -1 and 1 (mulberry32). */
export function noise(seed: number): () => number {
  let a = seed
  return () => {
    a = (a + 0x6d2b79f5) | 0
    let t = Math.imul(a ^ (a >>> 15), 1 | a)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return ((t ^ (t >>> 14)) >>> 0) / 2_147_483_648 - 1
  }
}
