/**
 * A controller in a yard, as a process of its own: `controller KIND PORT USER PASSWORD`, until it is killed. KIND is how it reports:
 *   native   our form, every 2 s
 *   foreign  rows that say what they are, times in seconds, on a topic of its own, every 2 s
 *   blocks   a row each second, kept, and sent every 6 s as a block in the wall clock of its zone, without saying which
 *   change   only what changed, and a heartbeat every 6 s with the value it has
 */
import mqtt from 'mqtt'

const [kind = '', port = '', user = '', password = ''] = process.argv.slice(2)
/** Where the blocks come from: an hour or two from UTC, and not the zone of the machine that runs this. */
const BLOCK_ZONE = 'Europe/Helsinki'

const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { username: user, password, clientId: `panel-${kind}` })
const send = (topic: string, body: unknown): void => void client.publishAsync(topic, JSON.stringify(body), { qos: 1 }).catch(() => undefined)
const site = `loopkeeper/v1/${user}`
const oxygen = (): number => Number((7 + 0.4 * Math.sin(Date.now() / 9000)).toFixed(2))

const wall = new Intl.DateTimeFormat('sv-SE', { timeZone: BLOCK_ZONE, dateStyle: 'short', timeStyle: 'medium' })
const rows: unknown[] = []
let last: number | null = null
let beatMs = 0

const STEPS: Readonly<Record<string, readonly [everyMs: number, step: () => void]>> = {
  native: [2000, () => send(site, { t: Date.now(), signals: { 'tu.do': oxygen(), 'sump.level': 40 } })],
  foreign: [
    2000,
    () =>
      send('quay/unit7/telemetry', {
        hdr: { ts: Math.floor(Date.now() / 1000), fw: '3.1' },
        ch: [
          { n: 'AI1', v: oxygen() },
          { n: 'AI2', v: 400 },
        ],
      }),
  ],
  blocks: [
    1000,
    () => {
      rows.push({ t: wall.format(Date.now()).replace(' ', 'T'), signals: { 'tu.do': oxygen(), 'sump.level': 40 } })
      if (rows.length >= 6) send(site, { rows: rows.splice(0) })
    },
  ],
  change: [
    500,
    () => {
      // A level that stands still for a long time; oxygen rounded, so that it often does not change.
      const now = Math.round(oxygen() * 5) / 5
      const beat = Date.now() - beatMs >= 6000
      if (now === last && !beat) return
      if (beat) beatMs = Date.now()
      last = now
      send(site, { t: Date.now(), signals: beat ? { 'tu.do': now, 'sump.level': 40 } : { 'tu.do': now } })
    },
  ],
}
const plan = STEPS[kind]
if (!plan) throw new Error(`no kind "${kind}": native, foreign, blocks or change`)
setInterval(plan[1], plan[0])
plan[1]()
