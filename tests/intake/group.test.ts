import { expect, test } from 'vitest'
import type { Message } from '../../gateway/intake/message.ts'
import { count, fakeHistory, intakeWith, message, NOW, until } from './parts.ts'

const answers = () => {
  const out: string[] = []
  return { out, note: (name: string) => (refused: Error | null) => void out.push(`${name} ${refused ? 'refused' : 'ours'}`) }
}
const reading = (v: number, t = NOW + v): Message => message('ostrand/tu.do', `{"v":${v},"t":${t}}`)

test('MQT-03 messages of one turn are one commit, and each is answered after it, in their order, bad ones in their turn', async () => {
  const { intake, history, told } = intakeWith()
  const { out, note } = answers()
  intake.offer(reading(1), note('1'))
  intake.offer(message('ostrand', '{'), note('bad'))
  intake.offer(reading(2), note('2'))
  expect(out).toEqual([])
  expect(history.commits).toBe(0)
  await until('answered', () => out.length === 3)
  expect(out).toEqual(['1 ours', 'bad ours', '2 ours'])
  expect(history.commits).toBe(1)
  expect(told.map((r) => r.value)).toEqual([1, 2])
})

test('a refusal refuses the whole group, and afterwards all of it is news again', () => {
  const { intake, history, told } = intakeWith()
  const { out, note } = answers()
  history.refuses = true
  // The same reading twice: the repeat must not be answered as ours while the first is not stored.
  for (const [i, v] of [1, 2, 2, 3].entries()) intake.offer(reading(v), note(String(i)))
  intake.flush()
  expect(out).toEqual(['0 refused', '1 refused', '2 refused', '3 refused'])
  expect(count(intake, 'intakeHeld')).toBe(4)
  expect(count(intake, 'readingsIn')).toBe(0)
  expect(told).toEqual([])
  history.refuses = false
  for (const v of [1, 2, 2, 3]) intake.offer(reading(v), note('again'))
  intake.flush()
  expect(out.slice(4)).toEqual(['again ours', 'again ours', 'again ours', 'again ours'])
  expect(told.map((r) => [r.value, r.live])).toEqual([
    [1, true],
    [2, true],
    [3, true],
  ])
  expect(count(intake, 'readingsDuplicate')).toBe(1)
  expect(count(intake, 'intakeMessages')).toBe(count(intake, 'intakeAccepted') + count(intake, 'intakeHeld'))
})

test('a long turn is committed before its end, so that a group is bounded', () => {
  const history = fakeHistory()
  const { intake } = intakeWith({ history })
  const { out, note } = answers()
  for (let v = 1; v <= 2500; v++) intake.offer(reading(v % 20, NOW - 100_000 + v), note(String(v)))
  expect(history.commits).toBe(2)
  expect(out.length).toBe(2000)
  intake.flush()
  expect(out.length).toBe(2500)
})

test('what a listener does while a group is answered cannot mix the next group into it', () => {
  const { intake, history } = intakeWith()
  const { out, note } = answers()
  intake.offer(reading(1), () => {
    out.push('1')
    intake.offer(reading(2), note('2'))
  })
  intake.offer(reading(3), note('3'))
  intake.flush()
  expect(out).toEqual(['1', '3 ours'])
  intake.flush()
  expect(out).toEqual(['1', '3 ours', '2 ours'])
  expect(history.commits).toBe(2)
})
