import { expect, test } from 'vitest'
import { alarmDef, alarmView, NOON, reading } from './fake-gateway.ts'
import { openYard } from './yard.ts'

test('the fleet lists every loop with its water, minutes of washing and standing alarms', async () => {
  const { ask, gateway } = await openYard()
  gateway.push(reading('upper', 'finished.level', 50), reading('upper', 'sump.level', 40))
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const reply = await ask('GET', '/api/loops')
  expect(reply.statusCode).toBe(200)
  const { loops } = reply.json()
  expect(loops).toHaveLength(2)
  // 50 % of 5,700 L at 23 L/min.
  expect(loops[0]).toMatchObject({ id: 'upper', area: 'Hill yards', waterPct: 50, sumpPct: 40, waterMin: (0.5 * 5700) / 23, silent: false, heardMs: NOON })
  expect(loops[0].alarms).toHaveLength(1)
  expect(loops[1]).toMatchObject({ id: 'lower', waterPct: null, waterMin: null, alarms: [] })
})

test('one loop tells its signals, limits, machines, protections, hazards and what it cannot tell', async () => {
  const { ask, gateway } = await openYard()
  gateway.push(reading('upper', 'tu.do', 7.2))
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const loop = (await ask('GET', '/api/loops/upper')).json()
  expect(loop.signals.find((s: { id: string }) => s.id === 'tu.do')).toMatchObject({
    value: 7.2,
    quality: 'good',
    unit: 'mg/L',
    unitText: 'mg/L',
    unitSpoken: 'milligrams per litre',
    stage: 'tu',
    limits: [{ name: 'L', value: 2, alarm: 'upper/tu.do.low' }],
  })
  expect(loop.equipment[0]).toMatchObject({ id: 'blower', run: 'blower.run', current: 'blower.current', serves: ['tu', 'bio1'] })
  expect(loop.protections).toEqual([{ id: 'bund', what: 'Bund of 1.2 m3', present: true, provedOn: '2026-01-11' }])
  expect(loop.notObserved.length).toBeGreaterThan(0)
  expect(loop.hazards.map((h: { id: string }) => h.id)).toContain('h2s')
  expect(loop.hazards.at(-1).id).toBe('closing')
  // Noon in Lisbon on a Wednesday in March.
  expect(loop.openNow).toBe(true)
})

test('an unknown loop is refused naming those there are', async () => {
  const { ask } = await openYard()
  const reply = await ask('GET', '/api/loops/uper')
  expect(reply.statusCode).toBe(404)
  expect(reply.json()).toEqual({ code: 'unknown-loop', message: 'no loop "uper": there are upper, lower' })
})

test('one loop tells its vitals: a figure with its interval, formula and source, or why it is withheld and what would unlock it', async () => {
  const { ask, gateway } = await openYard()
  for (const m of [0, 1, 2]) gateway.push(reading('upper', 'tu.do', 7.2, { sourceMs: NOON + m * 60_000 }), reading('upper', 'tu.temperature', 18, { sourceMs: NOON + m * 60_000 }))
  const { vitals } = (await ask('GET', '/api/loops/upper')).json() as { vitals: { id: string; value: number | null; unlock: string | null; unobservable: boolean }[] }
  expect(vitals.find((v) => v.id === 'tu.do.saturation')).toMatchObject({
    unit: '%',
    stage: 'tu',
    quality: 'good',
    why: null,
    unlock: null,
    signals: ['tu.do', 'tu.temperature'],
    interval: { low: expect.any(Number), high: expect.any(Number) },
    formula: expect.stringContaining('C*'),
    source: expect.stringContaining('Benson & Krause'),
  })
  expect(vitals.find((v) => v.id === 'tu.do.saturation')?.value).toBeCloseTo(76, 0)
  expect(vitals.find((v) => v.id === 'tu.uptake')).toMatchObject({
    value: null,
    interval: null,
    unobservable: false,
    why: expect.stringContaining('no air-off test'),
    unlock: expect.stringContaining('timer'),
  })
  expect(vitals.find((v) => v.id === 'water.recycled')).toMatchObject({ value: null, unobservable: true, unlock: 'Make-up water meter, Wash water meter' })
  for (const v of vitals) expect(v.value === null, v.id).toBe(v.unlock !== null)
})

test('a computed signal has a trend like a measured one', async () => {
  const { ask } = await openYard()
  const reply = await ask('GET', '/api/history/upper/tu.do.saturation')
  expect(reply.statusCode).toBe(200)
  expect(reply.json()).toMatchObject({ signal: 'tu.do.saturation', unit: '%', unitText: '%' })
  expect((await ask('GET', '/api/history/upper/tu.do.saturatoin')).statusCode).toBe(404)
})
