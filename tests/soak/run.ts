/**
 * `npm run soak`: the exactly-once trials at large size, one after the other. Prints what was sent, missing and stored twice.
 */
import { brokerGone, cut, killed } from './trials.ts'

let bad = 0
for (const [what, trial] of [
  ['gateway killed 20 times', () => killed(20)],
  ['connection cut 200 times in the middle of a packet', () => cut(200)],
  ['Mosquitto and the gateway down in turn, 20 times', () => brokerGone(20)],
] as const) {
  const o = await trial()
  if (o.missing + o.twice + o.wrong > 0) bad++
  console.log(`${what}: ${o.sent} acknowledged, ${o.missing} missing, ${o.twice} twice, ${o.wrong} wrong, ${o.connections} connections`)
}
process.exitCode = bad > 0 ? 1 : 0
