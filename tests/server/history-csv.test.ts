import { expect, test } from 'vitest'
import type { HistoryReading } from '../../gateway/history/history.ts'
import { openYard } from './yard.ts'

const T0 = Date.UTC(2026, 2, 4, 10)

test('readings of many signals come as CSV with their quality, in long and wide form, a loop standing for all of its signals', async () => {
  const yard = await openYard()
  const of = (sourceMs: number, value: number): HistoryReading => ({ sourceMs, receivedMs: sourceMs + 1, value, quality: 'good', sub: 'ok', qc: 1 })
  const asked: string[] = []
  Object.assign(yard.gateway.history, {
    range: async (key: string, fromMs: number, toMs: number) => {
      asked.push(key)
      return [of(T0, 1), of(T0 + 1000, key === 'upper/tu.do' ? 2 : 3)].filter((r) => r.sourceMs >= fromMs && r.sourceMs < toMs)
    },
  })
  const span = `from=${T0}&to=${T0 + 60_000}`
  const long = await yard.ask('GET', `/api/history.csv?signals=upper/tu.do,lower/tu.do&${span}`)
  expect(long.body).toBe(
    'site,signal,source_time,received_time,value,quality,reason,qc\r\n' +
      'upper,tu.do,2026-03-04T10:00:00.000Z,2026-03-04T10:00:00.001Z,1,good,ok,1\r\nupper,tu.do,2026-03-04T10:00:01.000Z,2026-03-04T10:00:01.001Z,2,good,ok,1\r\n' +
      'lower,tu.do,2026-03-04T10:00:00.000Z,2026-03-04T10:00:00.001Z,1,good,ok,1\r\nlower,tu.do,2026-03-04T10:00:01.000Z,2026-03-04T10:00:01.001Z,3,good,ok,1\r\n',
  )
  expect(long.headers['content-disposition']).toBe('attachment; filename="readings.csv"')
  const wide = await yard.ask('GET', `/api/history.csv?signals=upper/tu.do,lower/tu.do&form=wide&${span}`)
  expect(wide.body.split('\r\n').slice(0, 3)).toEqual([
    'time,upper/tu.do,upper/tu.do quality,lower/tu.do,lower/tu.do quality',
    '2026-03-04T10:00:00.000Z,1,good,1,good',
    '2026-03-04T10:00:01.000Z,2,good,3,good',
  ])
  asked.length = 0
  await yard.ask('GET', `/api/history.csv?signals=upper&${span}`)
  expect(new Set(asked)).toEqual(new Set((yard.gateway.site('upper')?.site.signals ?? []).map((s) => `upper/${s.id}`)))
})

test.each([
  ['signals=', 'bad-request'],
  ['signals=,,,', 'bad-request'],
  ['signals=nowhere/tu.do', 'unknown-loop'],
  ['signals=upper/tu.od', 'unknown-signal'],
  ['signals=upper&form=tall', 'bad-request'],
  ['', 'bad-request'],
])('a CSV of %s is refused as %s', async (query, code) => {
  const yard = await openYard()
  expect((await yard.ask('GET', `/api/history.csv?${query}`)).json()).toMatchObject({ code })
})
