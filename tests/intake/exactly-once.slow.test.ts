import { expect, test } from 'vitest'
import { mosquittoPath, withoutMosquitto } from './mosquitto.ts'
import { brokerGone, brokerKilled, cut, killed, type Outcome } from '../soak/trials.ts'

const exactlyOnce = (o: Outcome, atLeast: number, connections: number): void => {
  expect(o).toMatchObject({ missing: 0, twice: 0, wrong: 0 })
  expect(o.sent).toBeGreaterThan(atLeast)
  expect(o.connections).toBeGreaterThanOrEqual(connections)
}
test('a reading whose PUBACK was seen is stored exactly once, though the gateway is killed 3 times', async () => {
  exactlyOnce(await killed(3), 300, 4)
})
test.skipIf(mosquittoPath === null)(`... though Mosquitto and the gateway go down in turn${withoutMosquitto}`, async () => {
  exactlyOnce(await brokerGone(2), 200, 2)
})
test.skipIf(mosquittoPath === null)(
  `what Mosquitto handed over and we acknowledged is stored exactly once, though Mosquitto is killed with -9 3 times${withoutMosquitto}`,
  async () => {
    const o = await brokerKilled(3)
    exactlyOnce(o, 400, 4)
    expect(o.returns).toBeGreaterThanOrEqual(3)
  },
)
test('... though the connection is cut 20 times in the middle of a packet', async () => {
  exactlyOnce(await cut(20), 300, 20)
})
