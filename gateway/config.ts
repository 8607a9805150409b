/**
 * Every setting of the product: one table, read from flags first, environment second, default last. README's table is
 * made from it (`settingsTable`), and a test keeps the two in step.
 */
import type { RecordSettings } from './history/record.ts'
import type { RetentionSettings } from './history/retention.ts'

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
  setting('sites', 'DIR', '', 'Folder of site files (*.yaml). Not set: `sites` inside the data folder with `--fleet none`.'),
  setting('fleet', 'demo|none', 'demo', 'Simulated fleet that runs beside the gateway, with its own site files. Without this setting `--sites` means `none`.'),
  setting('seed', 'NUMBER', '1', 'Seed of the simulated fleet; same seed, same readings.'),
  setting('fill-days', 'DAYS', '90', 'Days of past readings the simulated fleet loads in the background on its first run, 0 to 90.'),
  setting('prefix', 'TOPIC', 'loopkeeper/v1', 'First levels of every topic.'),
  setting('mqtt-tls-port', 'PORT', '', 'Port of the own broker with TLS (1.2 or later), beside the plain one. Needs a certificate and its key.'),
  setting('mqtt-cert-file', 'FILE', '', 'Certificate of the own broker (PEM), with its chain.'),
  setting('mqtt-key-file', 'FILE', '', 'Key of that certificate (PEM).'),
  setting(
    'broker',
    'URL',
    '',
    'Other MQTT brokers to take readings from as well, `mqtt://host:1883` or `mqtts://`; several with commas. The next six go with them: one value for all, or one each with commas.',
  ),
  setting('broker-user', 'NAME', '', 'User name for that broker.'),
  setting('broker-password-file', 'FILE', '', 'File whose first line is the password for that broker.'),
  setting('broker-ca-file', 'FILE', '', 'Certificate authority (PEM) that broker is checked against.'),
  setting('broker-cert-file', 'FILE', '', 'Our client certificate for that broker (PEM).'),
  setting('broker-key-file', 'FILE', '', 'Key of that certificate (PEM).'),
  setting('broker-mqtt', '3|5', '3', 'MQTT version spoken with that broker: 3.1.1 or 5.'),
  setting('influx-url', 'URL', '', 'InfluxDB that keeps the record, `http://host:8086` or `https://`. Everything stored is sent on to it; it may be away for days.'),
  setting('influx-database', 'NAME', '', 'Database of InfluxDB 1.x; made when missing and allowed. Trends then reach back to what only InfluxDB holds.'),
  setting('influx-user', 'NAME', '', 'User name for InfluxDB 1.x.'),
  setting('influx-password-file', 'FILE', '', 'File whose first line is the password for InfluxDB 1.x.'),
  setting('influx-ca-file', 'FILE', '', 'Certificate authority (PEM) that InfluxDB 1.x is checked against.'),
  setting('influx-token-file', 'FILE', '', 'File whose first line is the token for InfluxDB 2.x.'),
  setting('influx-org', 'NAME', '', 'Organisation of InfluxDB 2.x.'),
  setting('influx-bucket', 'NAME', '', 'Bucket of InfluxDB 2.x. Sent to, not read from: trends come from the embedded history.'),
  setting('api-token-file', 'FILE', '', 'Bearer tokens for the API, one `name token` a line.'),
  setting(
    'synchronous',
    'normal|full',
    'normal',
    'Durability of the history: `normal` survives a killed process, `full` a power cut too, at the message rate that the disk can flush.',
  ),
  setting('keep-days', 'DAYS', '', 'Readings older than this are forgotten, once a day. Not set: none for their age.'),
  setting('keep-gb', 'GB', '', 'Room the readings may take in `history.db`; beyond it the oldest days are forgotten. Not set: all there is.'),
  setting('keep-at-least-days', 'DAYS', '30', 'Readings younger than this are never forgotten, also not for room.'),
]

export interface Config {
  readonly port: number
  readonly mqttPort: number
  readonly host: string
  readonly dataDir: string
  readonly sitesDir: string | null
  readonly fleet: 'demo' | 'none'
  readonly seed: number
  readonly fillDays: number
  readonly prefix: string
  /** null: no TLS listener. */
  readonly mqttTls: { readonly port: number; readonly certFile: string; readonly keyFile: string } | null
  readonly brokers: readonly BrokerConfig[]
  readonly apiTokenFile: string | null
  readonly synchronous: 'normal' | 'full'
  /** InfluxDB that keeps the record; null: none. */
  readonly influx: RecordSettings | null
  readonly retention: RetentionSettings
}

export interface BrokerConfig {
  readonly url: string
  readonly user: string | null
  readonly passwordFile: string | null
  readonly caFile: string | null
  readonly certFile: string | null
  readonly keyFile: string | null
  readonly protocol: 4 | 5
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
  const told = (name: string): boolean => SETTINGS.some((s) => s.flag === `--${name}` && (given.has(s.flag) || Boolean(env[s.env])))
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
  const tlsPort = textOrNull('mqtt-tls-port') === null ? null : whole('mqtt-tls-port', 0, 65_535)
  const [certFile, keyFile] = [textOrNull('mqtt-cert-file'), textOrNull('mqtt-key-file')]
  const tlsParts = [tlsPort, certFile, keyFile].filter((x) => x !== null).length
  if (tlsParts !== 0 && tlsParts !== 3) faults.push('--mqtt-tls-port, --mqtt-cert-file and --mqtt-key-file belong together: give all three, or none')
  const brokers = readBrokers(read, faults)
  const sitesDir = textOrNull('sites')
  const fleet = oneOf('fleet', 'demo', 'none')
  if (sitesDir !== null && fleet === 'demo' && told('fleet')) faults.push(`--sites is "${sitesDir}" beside --fleet demo, which has site files of its own: leave one of the two out`)
  const config: Config = {
    port: whole('port', 0, 65_535),
    mqttPort: whole('mqtt-port', 0, 65_535),
    host: read('host').text,
    dataDir: read('data').text,
    sitesDir,
    fleet: sitesDir !== null && !told('fleet') ? 'none' : fleet,
    seed: whole('seed', 0, 4_294_967_295),
    fillDays: whole('fill-days', 0, 90),
    prefix: prefix.text,
    mqttTls: tlsPort !== null && certFile !== null && keyFile !== null ? { port: tlsPort, certFile, keyFile } : null,
    brokers,
    apiTokenFile: textOrNull('api-token-file'),
    synchronous: oneOf('synchronous', 'normal', 'full'),
    influx: influxOf(read, faults),
    retention: retentionOf(read, faults),
  }
  return faults[0] === undefined ? { ok: true, config } : bad(faults[0])
}

/** One broker for each URL; the settings beside it have one value for all, or one for each. */
function readBrokers(read: (name: string) => { readonly text: string; readonly from: string }, faults: string[]): readonly BrokerConfig[] {
  const listOf = (name: string): readonly string[] =>
    read(name).text === ''
      ? []
      : read(name)
          .text.split(',')
          .map((x) => x.trim())
  const urls = listOf('broker')
  for (const url of urls) if (!/^(mqtts?|wss?|tcp|ssl):\/\/[^\s/]+/.test(url)) faults.push(`${read('broker').from} is "${url}": a URL such as mqtt://127.0.0.1:1883 is needed`)
  const beside = (name: string): ((i: number) => string | null) => {
    const all = listOf(name)
    if (urls.length > 0 && all.length > 1 && all.length !== urls.length)
      faults.push(`${read(name).from} has ${all.length} values for ${urls.length} brokers: one for all, or one for each, with commas`)
    return (i) => (all.length === 1 ? all[0] : all[i]) || null
  }
  const [user, passwordFile, caFile, certFile, keyFile, version] = ['user', 'password-file', 'ca-file', 'cert-file', 'key-file', 'mqtt'].map((n) => beside(`broker-${n}`))
  return urls.map((url, i) => {
    const v = version?.(i) ?? '3'
    if (v !== '3' && v !== '5') faults.push(`${read('broker-mqtt').from} is "${v}": 3 or 5 is needed`)
    return {
      url,
      user: user?.(i) ?? null,
      passwordFile: passwordFile?.(i) ?? null,
      caFile: caFile?.(i) ?? null,
      certFile: certFile?.(i) ?? null,
      keyFile: keyFile?.(i) ?? null,
      protocol: v === '5' ? 5 : 4,
    }
  })
}

function influxOf(read: (name: string) => { text: string; from: string }, faults: string[]): RecordSettings | null {
  const text = (name: string): string | null => read(`influx-${name}`).text || null
  const url = text('url')
  const settings = {
    database: text('database'),
    user: text('user'),
    passwordFile: text('password-file'),
    caFile: text('ca-file'),
    tokenFile: text('token-file'),
    org: text('org'),
    bucket: text('bucket'),
  }
  if (url === null) {
    const given = Object.values(settings).find((v) => v !== null)
    if (given !== undefined) faults.push(`A setting of InfluxDB is "${given}", but --influx-url is not given: give it, or leave the others out`)
    return null
  }
  if (!/^https?:\/\/[^\s/]+/.test(url)) faults.push(`${read('influx-url').from} is "${url}": a URL such as http://127.0.0.1:8086 is needed`)
  else if ((settings.database === null) === (settings.bucket === null))
    faults.push(`--influx-url is "${url}": either --influx-database (1.x) or --influx-bucket (2.x) is needed with it, and not both`)
  else if (settings.bucket !== null && (settings.org === null || settings.tokenFile === null))
    faults.push(`--influx-bucket is "${settings.bucket}": --influx-org and --influx-token-file are needed with it`)
  return { url, ...settings }
}

function retentionOf(read: (name: string) => { text: string; from: string }, faults: string[]): RetentionSettings {
  const number = (name: string, shape: RegExp, least: number, most: number, what: string): number | null => {
    const { text, from } = read(name)
    if (text === '') return null
    const n = shape.test(text) ? Number(text) : Number.NaN
    if (!(n >= least && n <= most)) faults.push(`${from} is "${text}": ${what} from ${least} to ${most} is needed`)
    return n
  }
  const keepDays = number('keep-days', /^\d+$/, 1, 36_500, 'a whole number')
  const keepGb = number('keep-gb', /^\d+(\.\d+)?$/, 0.05, 1_000_000, 'a number')
  const keepAtLeastDays = number('keep-at-least-days', /^\d+$/, 1, 36_500, 'a whole number') ?? 30
  if (keepDays !== null && keepDays < keepAtLeastDays)
    faults.push(`${read('keep-days').from} is "${keepDays}", but readings of ${keepAtLeastDays} days are always kept: lower --keep-at-least-days as well if you mean it`)
  return { keepDays, keepBytes: keepGb === null ? null : keepGb * 1e9, keepAtLeastDays }
}

const bad = (message: string): ConfigResult => ({ ok: false, message })

/** What `--help` prints. */
export function settingsHelp(): string {
  const rows = SETTINGS.map((s) => `  ${`${s.flag} ${s.value}`.padEnd(32)} ${s.what.replaceAll('`', '')}${s.default === '' ? '' : ` [${s.default}]`}`)
  return ['npm start -- [option value ...]; each can also be set in the environment, --port as LOOPKEEPER_PORT', ...rows].join('\n')
}

/** The settings as a Markdown table, for README. */
export function settingsTable(): string {
  const rows = SETTINGS.map((s) => `| \`${s.flag} ${s.value.replaceAll('|', '\\|')}\` | \`${s.env}\` | ${s.default === '' ? '' : `\`${s.default}\``} | ${s.what} |`)
  return ['| flag | environment | default | what it does |', '|---|---|---|---|', ...rows].join('\n')
}
