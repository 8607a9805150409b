/** Intake under blows, at large size: `npm run soak intake`. One line a trial; exit code 1 when one reading is missing, twice or wrong. */
import { mosquittoPath, withoutMosquitto } from '../intake/mosquitto.ts'
import { brokerGone, cut, killed, type Outcome } from './trials.ts'

const TRIALS: readonly (readonly [name: string, run: (() => Promise<Outcome>) | null])[] = [
  ['gateway killed 20 times', () => killed(20)],
  ['Mosquitto restarted and gateway killed, 20 in turn', mosquittoPath === null ? null : () => brokerGone(20)],
  ['connection cut 200 times mid-packet', () => cut(200)],
]
let bad = 0
for (const [name, run] of TRIALS) {
  if (!run) {
    console.log(`${name}: not run${withoutMosquitto}`)
    continue
  }
  const o = await run()
  console.log(`${name}: ${o.sent} readings over ${o.connections} connections, every one acknowledged; ${o.missing} missing, ${o.twice} twice, ${o.wrong} wrong`)
  bad += o.missing + o.twice + o.wrong
}
process.exit(bad > 0 ? 1 : 0)
