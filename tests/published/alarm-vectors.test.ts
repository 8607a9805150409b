/** Delays, deadbands and n-of-m against vectors that were computed elsewhere (source inside the file). */
import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { z } from 'zod'
import { NORMAL, stepDelay } from '../../gateway/alarms/delay.ts'
import { onReadings } from '../../gateway/alarms/engine.ts'
import { createEngine } from '../../gateway/alarms/engine-state.ts'
import { judgeLimit, makeLimit } from '../../gateway/alarms/limit.ts'
import { N_OF_M_START, stepNOfM } from '../../gateway/alarms/n-of-m.ts'
import { limitDef, loop, reading } from '../alarms/yard.ts'

const pair = z.tuple([z.number(), z.number()])
const file = z
  .object({
    delayTimers: z.array(
      z.object({ limit: z.number(), deadband: z.number(), on: z.number(), off: z.number(), in: z.array(pair), out: z.array(z.tuple([z.enum(['raise', 'clear']), z.number()])) }),
    ),
    nOfM: z.array(z.object({ n: z.number(), m: z.number(), violated: z.array(z.number()), raiseAtSample: z.number() })),
    decimal: z.object({ limit: z.number(), deadband: z.number(), clearAt: z.number(), binary: z.number() }),
  })
  .parse(JSON.parse(readFileSync(new URL('./alarm-delays.json', import.meta.url), 'utf8')))

const cases = file.delayTimers.map((v, i) => [`${i + 1}: deadband ${v.deadband}, on ${v.on} s, off ${v.off} s`, v] as const)

test.each(cases)('ALM-24..27 delay vector %s gives the printed raises and clears', (_, v) => {
  const limit = makeLimit('high', v.limit, v.deadband)
  let state = NORMAL
  const out: unknown[] = []
  for (const [t, value] of v.in) {
    const step = stepDelay(state, judgeLimit(value, limit), t * 1000, { onMs: v.on * 1000, offMs: v.off * 1000 })
    state = step.state
    out.push(...step.changes.map((c) => [c.kind, c.atMs / 1000]))
  }
  expect(out).toEqual(v.out)
})

test.each(cases)('ALM-24..27 delay vector %s, mirrored to the low side, gives the same times', (_, v) => {
  const limit = makeLimit('low', -v.limit, v.deadband)
  let state = NORMAL
  const out: unknown[] = []
  for (const [t, value] of v.in) {
    const step = stepDelay(state, judgeLimit(-value, limit), t * 1000, { onMs: v.on * 1000, offMs: v.off * 1000 })
    state = step.state
    out.push(...step.changes.map((c) => [c.kind, c.atMs / 1000]))
  }
  expect(out).toEqual(v.out)
})

test.each(cases)('the whole engine, fed with readings, gives delay vector %s', (_, v) => {
  const site = loop()
  const def = limitDef('tu.ph', { side: 'high', limit: v.limit, deadband: v.deadband, onDelayMs: v.on * 1000, offDelayMs: v.off * 1000 })
  const engine = createEngine([def], [site], { nowMs: 0, steadyMs: 0 })
  const out: unknown[] = []
  for (const [t, value] of v.in) {
    for (const { event } of onReadings(engine, [reading('tu.ph', value, t * 1000)], { nowMs: t * 1000, steadyMs: t * 1000 })) {
      if (event.kind === 'raised' || event.kind === 'cleared') out.push([event.kind === 'raised' ? 'raise' : 'clear', event.atMs / 1000])
    }
  }
  expect(out).toEqual(v.out)
})

test.each(file.nOfM)('ALM-30 $n of $m raises at the printed sample', ({ n, m, violated, raiseAtSample }) => {
  let state = N_OF_M_START
  const active = violated.map((x) => {
    state = stepNOfM(state, x === 1, { n, m, clearN: m, clearM: m })
    return state.active
  })
  expect(active.indexOf(true) + 1).toBe(raiseAtSample)
})

test('ALM-27 the clear level is what a person would write, not what binary subtraction gives', () => {
  const { limit, deadband, clearAt, binary } = file.decimal
  expect(limit - deadband).toBe(binary)
  expect(makeLimit('high', limit, deadband).clearAt).toBe(clearAt)
})
