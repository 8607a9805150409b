import { expect, test } from 'vitest'
import { account } from '../soak/generated.ts'

// 100,000 of them: npm run soak.
test('of 6,000 generated messages every valid reading is stored, every other one counted by its reason, and the sums are exact', async () => {
  const { is, expected, inHistory } = await account(6000, 20_260_302)
  expect(is).toEqual(expected)
  expect(inHistory).toBe(expected.stored)
  expect(Object.keys(is.byCode).length).toBeGreaterThanOrEqual(11)
  expect(is.messages).toBe(is.accepted + is.refused)
})
