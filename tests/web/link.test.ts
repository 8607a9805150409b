import fc from 'fast-check'
import { expect, test } from 'vitest'
import { LOST_AFTER_MS, onClose, onMessage, onTick, opened, retryMs, type LinkState } from '../../web/state/link.ts'

/** The page looks at its clock once a second. */
const after = (s: LinkState, fromMs: number, toMs: number): LinkState => {
  let state = s
  for (let at = fromMs; at <= toMs; at += 1000) state = onTick(state, at)
  return state
}

test('a page that looks once a second says that the server is lost within 10 s of its last message', () => {
  expect(after(onMessage(opened(0), 500), 1000, 8000).lost).toBe(false)
  expect(after(onMessage(opened(0), 500), 1000, 10_500).lost).toBe(true)
  // The latest moment it can be: a message just after a look at the clock, and the next look a full second late.
  expect(LOST_AFTER_MS + 2_000).toBeLessThanOrEqual(10_000)
})

test('a beat every 2 s is never taken for a lost server, not even when one of two is late by 2 s', () => {
  let s = opened(0)
  for (let at = 2000; at < 60_000; at += at % 8000 === 0 ? 4000 : 2000) {
    s = onTick(s, at)
    expect(s.lost).toBe(false)
    s = onMessage(s, at)
  }
})

test('a page that never heard its server says so too', () => {
  expect(after(opened(0), 1000, 10_000).lost).toBe(true)
})

test('a closed socket is told at once, as not open, and as lost only when the time is up', () => {
  const closed = onClose(onMessage(opened(0), 1000))
  expect(closed).toMatchObject({ open: false, lost: false, tries: 1 })
  expect(after(closed, 2000, 10_000).lost).toBe(true)
})

test('one message after a loss is enough: live again, and the next wait is a short one', () => {
  const back = onMessage(onClose(onClose(after(opened(0), 1000, 20_000))), 21_000)
  expect(back).toMatchObject({ open: true, lost: false, tries: 0 })
})

test('waits between tries grow, are spread, and never exceed 23 s', () => {
  let s = opened(0)
  let before = 0
  for (let i = 0; i < 8; i++) {
    s = onClose(s)
    const middle = retryMs(s, 0.5)
    expect(middle).toBeGreaterThanOrEqual(before)
    before = middle
  }
  fc.assert(
    fc.property(fc.nat(60), fc.double({ min: 0, max: 1, noNaN: true }), (tries, random) => {
      const wait = retryMs({ ...s, tries }, random)
      expect(wait).toBeGreaterThanOrEqual(250)
      expect(wait).toBeLessThanOrEqual(22_500)
    }),
  )
  expect(retryMs(s, 0)).toBeLessThan(retryMs(s, 1))
})
