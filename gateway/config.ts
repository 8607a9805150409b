/**
 * Every setting of the product: one table, read from flags first, environment second, default last. README's table is
 * made from it (`settingsTable`), and a test keeps the two in step.
 */
export interface Setting {
  readonly flag: string
  readonly env: string
  readonly value: string
  /** Shown default; the empty string: not set. */
  readonly default: string
  readonly what: string
}

const setting = (flag: string, value: string, fallback: string, what: string): Setting => ({
  flag: `--${flag}`,
  env: `LOOPKEEPER_${flag.toUpperCase().replaceAll('-', '_')}`,
  value,
  default: fallback,
  what,
})

export const SETTINGS: readonly Setting[] = [
  setting('port', 'PORT', '8470', 'Port of the page and the API.'),
  setting('mqtt-port', 'PORT', '1884', 'Port of the own MQTT broker. 0 picks a free one and prints it.'),
  setting('host', 'ADDRESS', '127.0.0.1', 'Address both ports listen on. Anything but loopback is reachable by others: put TLS in front.'),
  setting('data', 'DIR', 'data', 'Folder for everything that is stored. Made when missing.'),
  setting('sites', 'DIR', '', 'Folder of site files (*.yaml). Not set: `sites` inside the data folder, and the demo fleet with `--fleet demo`.'),
  setting('fleet', 'demo|none', 'demo', 'Simulated fleet that runs beside the gateway.'),
  setting('seed', 'NUMBER', '1', 'Seed of the simulated fleet; same seed, same readings.'),
  setting('fill-hours', 'HOURS', '24', 'Hours of past readings the simulated fleet loads on its first run, 0 to 168.'),
  setting('prefix', 'TOPIC', 'loopkeeper/v1', 'First levels of every topic.'),
  setting('broker', 'URL', '', 'Another MQTT broker to take readings from as well, `mqtt://host:1883` or `mqtts://`.'),
  setting('broker-user', 'NAME', '', 'User name for that broker.'),
  setting('broker-password-file', 'FILE', '', 'File whose first line is the password for that broker.'),
  setting('broker-ca-file', 'FILE', '', 'Certificate authority (PEM) that broker is checked against.'),
  setting('api-token-file', 'FILE', '', 'Bearer tokens for the API, one `name token` a line.'),
  setting('synchronous', 'normal|full', 'normal', 'Durability of the history: `normal` survives a killed process, `full` a power cut too, at about a sixth of the message rate.'),
]

export interface Config {
  readonly port: number
  readonly mqttPort: number
  readonly host: string
  readonly dataDir: string
  readonly sitesDir: string | null
  readonly fleet: 'demo' | 'none'
  readonly seed: number
  readonly fillHours: number
  readonly prefix: string
  readonly broker: { readonly url: string; readonly user: string | null; readonly passwordFile: string | null; readonly caFile: string | null } | null
  readonly apiTokenFile: string | null
  readonly synchronous: 'normal' | 'full'
}

export type ConfigResult = { readonly ok: true; readonly config: Config } | { readonly ok: false; readonly message: string }

/** Exit codes of `npm start`, each with what it means; README prints the same table. */
export const EXIT = {
  stopped: 0,
  failed: 1,
  usage: 2,
  portTaken: 3,
  folder: 4,
  nodeTooOld: 5,
  install: 6,
} as const

/** Reads settings from `argv` (without node and script) and `env`. The first thing wrong is told with its value and what would be right. */
export function readConfig(argv: readonly string[], env: Readonly<Record<string, string | undefined>>): ConfigResult {
  const given = new Map<string, string>()
  for (let i = 0; i < argv.length; i++) {
    const arg = argv[i] ?? ''
    const eq = arg.indexOf('=')
    const flag = eq > 0 ? arg.slice(0, eq) : arg
    if (!SETTINGS.some((s) => s.flag === flag)) return bad(`${flag} is no option. Options: ${SETTINGS.map((s) => s.flag).join(' ')}`)
    const value = eq > 0 ? arg.slice(eq + 1) : argv[++i]
    if (value === undefined || (eq < 0 && value.startsWith('--'))) return bad(`${flag} needs a value: ${flag} ${SETTINGS.find((s) => s.flag === flag)?.value}`)
    given.set(flag, value)
  }
  const read = (name: string): { text: string; from: string } => {
    const s = SETTINGS.find((x) => x.flag === `--${name}`)
    if (!s) throw new Error(`BUG: no setting ${name}`)
    const flag = given.get(s.flag)
    if (flag !== undefined) return { text: flag, from: s.flag }
    const fromEnv = env[s.env]
    return fromEnv !== undefined && fromEnv !== '' ? { text: fromEnv, from: s.env } : { text: s.default, from: s.flag }
  }
  const faults: string[] = []
  const whole = (name: string, least: number, most: number): number => {
    const { text, from } = read(name)
    const n = /^\d+$/.test(text) ? Number(text) : Number.NaN
    if (!(n >= least && n <= most)) faults.push(`${from} is "${text}": a whole number from ${least} to ${most} is needed`)
    return n
  }
  const oneOf = <T extends string>(name: string, ...allowed: readonly T[]): T => {
    const { text, from } = read(name)
    if (!allowed.includes(text as T)) faults.push(`${from} is "${text}": ${allowed.join(' or ')} is needed`)
    return text as T
  }
  const textOrNull = (name: string): string | null => read(name).text || null
  const prefix = read('prefix')
  if (!/^[^/+#\s]+(\/[^/+#\s]+){0,3}$/.test(prefix.text))
    faults.push(`${prefix.from} is "${prefix.text}": one to four topic levels without + # or spaces are needed, such as loopkeeper/v1`)
  const url = textOrNull('broker')
  if (url !== null && !/^(mqtts?|wss?|tcp|ssl):\/\/[^\s/]+/.test(url)) faults.push(`${read('broker').from} is "${url}": a URL such as mqtt://127.0.0.1:1883 is needed`)
  const config: Config = {
    port: whole('port', 0, 65_535),
    mqttPort: whole('mqtt-port', 0, 65_535),
    host: read('host').text,
    dataDir: read('data').text,
    sitesDir: textOrNull('sites'),
    fleet: oneOf('fleet', 'demo', 'none'),
    seed: whole('seed', 0, 4_294_967_295),
    fillHours: whole('fill-hours', 0, 168),
    prefix: prefix.text,
    broker: url === null ? null : { url, user: textOrNull('broker-user'), passwordFile: textOrNull('broker-password-file'), caFile: textOrNull('broker-ca-file') },
    apiTokenFile: textOrNull('api-token-file'),
    synchronous: oneOf('synchronous', 'normal', 'full'),
  }
  return faults[0] === undefined ? { ok: true, config } : bad(faults[0])
}

const bad = (message: string): ConfigResult => ({ ok: false, message })

/** The settings as a Markdown table, for README. */
export function settingsTable(): string {
  const rows = SETTINGS.map((s) => `| \`${s.flag} ${s.value.replaceAll('|', '\\|')}\` | \`${s.env}\` | ${s.default === '' ? '' : `\`${s.default}\``} | ${s.what} |`)
  return ['| flag | environment | default | what it does |', '|---|---|---|---|', ...rows].join('\n')
}
