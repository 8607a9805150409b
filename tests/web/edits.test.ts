import { expect, test } from 'vitest'
import { editList, withEdit, type Edits } from '../../web/state/edits.ts'
import { hoursOf, hoursText } from '../../web/words/hours.ts'

const none: Edits<unknown> = new Map()

test('a stock that is added, changed and taken out again leaves nothing of itself behind', () => {
  let e = withEdit(none, ['consumables', 'acid'], { full: 1 })
  e = withEdit(e, ['consumables', 'acid', 'full'], 60)
  expect(editList(e).map((x) => x.path.length)).toEqual([2, 3])
  e = withEdit(e, ['consumables', 'acid'], null)
  expect(editList(e)).toEqual([{ path: ['consumables', 'acid'], value: null }])
})

test('the newest word on a field counts once, and fields beside it stay', () => {
  let e = withEdit(none, ['signals', 'tu.do', 'name'], 'a')
  e = withEdit(e, ['signals', 'tu.do', 'range'], [0, 1])
  e = withEdit(e, ['signals', 'tu.do', 'name'], 'b')
  expect(editList(e)).toEqual([
    { path: ['signals', 'tu.do', 'range'], value: [0, 1] },
    { path: ['signals', 'tu.do', 'name'], value: 'b' },
  ])
})

test.each<[string, unknown]>([
  ['', null],
  ['always', 'always'],
  ['Always', 'always'],
  ['mon-fri 06:00-20:00\n\nsat: 08:00-12:00, 14:00-18:00', { 'mon-fri': '06:00-20:00', sat: '08:00-12:00, 14:00-18:00' }],
  ['monday', { monday: '' }],
])('hours typed as %j are %j in the file, and shown again as lines', (text, hours) => {
  expect(hoursOf(text)).toEqual(hours)
  expect(hoursOf(hoursText(hours))).toEqual(hours)
})
