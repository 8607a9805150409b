import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, expect, test } from 'vitest'
import { begun, isOver, readFillState, withTold, writeFillState } from '../../simulator/fill-state.ts'

const DAY = 86_400_000
const folders: string[] = []
afterEach(() => {
  for (const f of folders.splice(0)) rmSync(f, { recursive: true, force: true })
})
const file = (): string => {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-fill-'))
  folders.push(dir)
  return join(dir, 'state.json')
}
const visit = { id: 'v', kind: 'visit', site: 'one', onsetMs: 5 * DAY, endMs: 5 * DAY + 1 } as const
const start = begun('demo', 1, ['one', 'two'], 0, 90 * DAY, [visit, { id: 'b', kind: 'bleach', site: 'one', onsetMs: DAY, endMs: null }])

test('a fill is over when everything of every site is told, its counters last', () => {
  expect([start.share, isOver(start), start.doneMs]).toEqual([0, false, null])
  const all = { recentMs: 90 * DAY, olderMs: 89 * DAY, meters: false }
  const half = withTold(start, 'one', { ...all, meters: true })
  expect([half.share, isOver(half)]).toEqual([0.5, false])
  const told = withTold(half, 'two', all)
  expect([told.share, isOver(told)]).toEqual([1, false])
  expect(isOver(withTold(told, 'two', { ...all, meters: true }))).toBe(true)
})

test('what people did in the past is told apart from what befell the plants', () => {
  expect(start.attended).toEqual([{ site: 'one', kind: 'visit', atMs: 5 * DAY, endMs: 5 * DAY + 1 }])
})

test('a state comes back from its file as it was; no file is no state; anything else in it is refused', () => {
  const f = file()
  expect(readFillState(f)).toBeNull()
  writeFillState(f, start)
  expect(readFillState(f)).toEqual(start)
  writeFileSync(f, '{"seed":1}')
  expect(() => readFillState(f)).toThrow(/not the state of a fill/)
})
