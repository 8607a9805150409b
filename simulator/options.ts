/** What the program is told on its command line, as a record or as the sentence that says what is wrong. */
import { parseArgs } from 'node:util'

export const HELP = `Simulates a fleet of wash-water loops that speak only MQTT: one connection and one credential per site.

  npm run simulate -- --secrets FILE [options]

  --broker URL         broker, MQTT 3.1.1 or 5; --url likewise   mqtt://127.0.0.1:1883
  --secrets FILE       JSON {"site id": "secret", ...}; user name is the site id; "none": the broker asks for no login
  --shared-user NAME   one user for all sites instead, password in --shared-secret-file (a broker of your own)
  --shared-secret-file FILE
  --prefix TOPIC       readings go to PREFIX/SITE          loopkeeper/v1
  --fleet NAME         demo (8 loops), twelve, generated   demo
  --loops N            size of the generated fleet, 1 to 5000
  --seed N             same seed, same readings            1
  --biology NAME       working, or asm1 (the reference)    working
  --instruments NAME   field: with films, wipers, dropouts and stuck values; plain: noise and lag alone   field
  --fill-hours H       history told behind the live readings, up to 2160; --fill-days D likewise
                       From 14 days on it holds a poisoned culture, a starved fortnight, a calibration and two visits.
                       The newest day comes first and in full, what is older in rows five minutes apart.
  --fill-state FILE    how far the fill has come: the next start goes on there, and fills nothing twice
  --speed S            plant seconds per second, or max    1
  --behind-hours H     how far before now the live part begins
                       Readings are never stamped ahead of the clock, so a speed above 1 needs --behind-hours: the fleet runs faster
                       until it has caught up with the clock, then goes on at 1. Below 1 it falls behind ever further.
  --faults FILE        JSON list of {"id","kind","site","onsetMs","endMs",["size","rampMs","at"]} added to the fleet's own plan
  --no-plan            nothing of the fleet's own plan
  --labels FILE        truth, one JSON object per line
  --write-sites DIR    writes the site files of the fleet into DIR and ends
  --help`

export interface Options {
  readonly url: string
  readonly secrets: string | null
  readonly sharedUser: string | null
  readonly sharedSecretFile: string | null
  readonly prefix: string
  readonly fleet: string
  readonly loops: number
  readonly seed: number
  readonly biology: 'working' | 'asm1'
  readonly field: boolean
  readonly fillHours: number
  readonly fillState: string | null
  readonly speed: number
  readonly behindHours: number
  readonly faults: string | null
  readonly plan: boolean
  readonly labels: string | null
  readonly writeSites: string | null
}

export type Asked = { readonly kind: 'run'; readonly options: Options } | { readonly kind: 'help' } | { readonly kind: 'wrong'; readonly message: string }

const text = { type: 'string' } as const
const flag = { type: 'boolean', default: false } as const

export function readOptions(args: readonly string[]): Asked {
  const wrong = (message: string): Asked => ({ kind: 'wrong', message })
  let values
  try {
    ;({ values } = parseArgs({
      args: [...args],
      options: {
        url: text,
        broker: text,
        fleet: text,
        loops: text,
        secrets: text,
        'shared-user': text,
        'shared-secret-file': text,
        seed: text,
        speed: text,
        prefix: text,
        biology: text,
        instruments: text,
        'fill-hours': text,
        'fill-days': text,
        'fill-state': text,
        'behind-hours': text,
        faults: text,
        labels: text,
        'write-sites': text,
        'no-plan': flag,
        help: flag,
      },
    }))
  } catch (e) {
    return wrong(`${e instanceof Error ? e.message : String(e)}; --help lists what there is`)
  }
  if (values.help) return { kind: 'help' }
  const faults: string[] = []
  const number = (name: 'seed' | 'speed' | 'fill-hours' | 'fill-days' | 'behind-hours' | 'loops', usual: number, low: number, high: number): number => {
    const given = values[name]
    if (given === undefined) return usual
    const v = given.trim() === '' ? Number.NaN : Number(given)
    if (!Number.isFinite(v) || v < low || v > high) faults.push(`--${name} ${given}: a number from ${low} to ${high} is needed`)
    return v
  }
  const oneOf = <T extends string>(name: 'biology' | 'instruments', usual: T, all: readonly T[]): T => {
    const given = values[name] ?? usual
    const found = all.find((x) => x === given)
    if (found === undefined) faults.push(`--${name} ${given}: one of ${all.join(', ')} is needed`)
    return found ?? usual
  }
  const fast = values.speed === 'max'
  const options: Options = {
    url: values.broker ?? values.url ?? 'mqtt://127.0.0.1:1883',
    secrets: values.secrets ?? null,
    sharedUser: values['shared-user'] ?? null,
    sharedSecretFile: values['shared-secret-file'] ?? null,
    prefix: values.prefix ?? 'loopkeeper/v1',
    fleet: values.fleet ?? 'demo',
    loops: number('loops', 8, 1, 5000),
    seed: number('seed', 1, 0, 2 ** 31),
    biology: oneOf('biology', 'working', ['working', 'asm1']),
    field: oneOf('instruments', 'field', ['field', 'plain']) === 'field',
    fillHours: values['fill-days'] === undefined ? number('fill-hours', 0, 0, 90 * 24) : 24 * number('fill-days', 0, 0, 90),
    fillState: values['fill-state'] ?? null,
    speed: fast ? Number.POSITIVE_INFINITY : number('speed', 1, 0.1, 3600),
    behindHours: number('behind-hours', 0, 0, 90 * 24),
    faults: values.faults ?? null,
    plan: !values['no-plan'],
    labels: values.labels ?? null,
    writeSites: values['write-sites'] ?? null,
  }
  if (values.broker !== undefined && values.url !== undefined) faults.push('--broker and --url: give one of them')
  if (!/^(mqtts?|tcp|ssl|wss?):\/\/([^\s/[\]:]+|\[[0-9a-f:.]+\])(:\d+)?(\/.*)?$/i.test(options.url))
    faults.push(`--broker ${options.url}: a URL such as mqtt://127.0.0.1:1883 is needed, an IPv6 address in brackets as in mqtt://[::1]:1883`)
  if (values['fill-days'] !== undefined && values['fill-hours'] !== undefined) faults.push('--fill-days and --fill-hours: give one of them')
  if (values.loops !== undefined && options.fleet !== 'generated') faults.push(`--loops ${values.loops}: only the generated fleet has a size, add --fleet generated`)
  if (options.speed > 1 && options.behindHours === 0) faults.push(`--speed ${values.speed}: add --behind-hours, because readings are never stamped ahead of the clock`)
  if ((options.sharedUser === null) !== (options.sharedSecretFile === null)) faults.push('--shared-user and --shared-secret-file: one needs the other')
  const first = faults[0]
  return first === undefined ? { kind: 'run', options } : wrong(first)
}
