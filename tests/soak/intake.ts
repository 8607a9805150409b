/** Intake at large size, under blows and under nonsense: `npm run soak intake`. One line a trial; exit code 1 when one reading is missing, twice or wrong. */
import { mosquittoPath, withoutMosquitto } from '../intake/mosquitto.ts'
import { isDeepStrictEqual } from 'node:util'
import { account } from './generated.ts'
import { brokerGone, brokerKilled, cut, killed, type Outcome } from './trials.ts'

const TRIALS: readonly (readonly [name: string, run: (() => Promise<Outcome>) | null])[] = [
  ['gateway killed 20 times', () => killed(20)],
  ['Mosquitto restarted and gateway killed, 20 in turn', mosquittoPath === null ? null : () => brokerGone(20)],
  ['Mosquitto killed with -9, 20 times; of what it handed over', mosquittoPath === null ? null : () => brokerKilled(20)],
  ['connection cut 200 times mid-packet', () => cut(200)],
]
let bad = 0
const { is, expected, inHistory } = await account(100_000, 1)
const exact = isDeepStrictEqual(is, expected) && inHistory === expected.stored
console.log(
  `100,000 generated messages: ${exact ? 'all sums exact' : `found ${JSON.stringify(is)}, expected ${JSON.stringify(expected)}`}; ${inHistory} readings in the history, refusals ${JSON.stringify(is.byCode)}`,
)
if (!exact) bad++
for (const [name, run] of TRIALS) {
  if (!run) {
    console.log(`${name}: not run${withoutMosquitto}`)
    continue
  }
  const o = await run()
  console.log(`${name}: ${o.sent} readings over ${o.connections} connections, every one acknowledged; ${o.missing} missing, ${o.twice} twice, ${o.wrong} wrong`)
  if ('neverHanded' in o) console.log(`  of these Mosquitto never handed over ${String(o.neverHanded)}: what it had acknowledged and held in memory died with it`)
  bad += o.missing + o.twice + o.wrong
}
process.exit(bad > 0 ? 1 : 0)
