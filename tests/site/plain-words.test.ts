import { expect, test } from 'vitest'
import { z } from 'zod'
import { plainWords } from '../../gateway/site/plain-words.ts'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'

const said = (schema: z.ZodType, value: unknown): string | undefined => schema.safeParse(value, { error: plainWords }).error?.issues[0]?.message

test.each([
  [z.string(), 5, 'text is needed'],
  [z.number(), 'x', 'a number is needed'],
  [z.int(), 1.5, 'a whole number is needed'],
  [z.boolean(), 1, 'true or false is needed'],
  [z.array(z.string()), 'x', 'a list is needed'],
  [z.object({}), 'x', 'named fields are needed'],
  [z.enum(['a', 'b']), 'x', 'one of "a", "b" is needed'],
  [z.literal(3), 'x', '3 is needed'],
  [z.number().max(9), 10, 'at most 9 is needed'],
  [z.number().positive(), 0, 'more than 0 is needed'],
  [z.string().min(2), 'x', 'at least 2 characters is needed'],
  [z.number('litres'), 'x', 'litres'],
])('a schema that says nothing of its own is spoken for in plain words (%#)', (schema, value, words) => {
  expect(said(schema, value)).toBe(words)
})

test('a length of time without its unit is asked for with one', () => {
  const r = readSiteFile('a.yaml', 'id: a\nname: A\nzone: Europe/Lisbon\nreportEvery: 5\ntrain: [{ stage: sump }]\nsignals: { sump.level: }\n')
  expect(r.ok ? [] : r.faults.map(faultText)).toEqual(['a.yaml: line 4, reportEvery: 5 found: a length of time with its unit, such as "10s", "5min", "2h"'])
})

test('a change of an alarm that cannot be taken is found in its line', () => {
  const r = readSiteFile('a.yaml', 'id: a\nname: A\nzone: Europe/Lisbon\ntrain: [{ stage: sump }]\nsignals: { sump.level: }\nalarms:\n  sump.levl.high: { limit: 3, why: "x" }\n')
  expect(r.ok && [...r.alarmLines]).toEqual([['sump.levl.high', 7]])
})
