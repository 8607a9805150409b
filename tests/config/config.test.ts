import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { EXIT, readConfig, SETTINGS, settingsTable } from '../../gateway/config.ts'

const message = (argv: string[], env = {}): string => {
  const r = readConfig(argv, env)
  return r.ok ? '' : r.message
}

test('with nothing given every setting has its default, and all listens on loopback', () => {
  const r = readConfig([], {})
  expect(r.ok && r.config).toMatchObject({
    port: 8470,
    mqttPort: 1884,
    host: '127.0.0.1',
    dataDir: 'data',
    sitesDir: null,
    fleet: 'demo',
    seed: 1,
    prefix: 'loopkeeper/v1',
    mqttTls: null,
    brokers: [],
    synchronous: 'normal',
  })
})

test('a flag wins over the environment, the environment over the default', () => {
  const env = { LOOPKEEPER_PORT: '9001', LOOPKEEPER_FLEET: 'none' }
  const r = readConfig(['--port', '9002'], env)
  expect(r.ok && [r.config.port, r.config.fleet]).toEqual([9002, 'none'])
  const equals = readConfig(['--port=9003'], env)
  expect(equals.ok && equals.config.port).toBe(9003)
})

test('a wrong setting is told with where it came from, its value and what would be right', () => {
  expect(message(['--port', '99999'])).toBe('--port is "99999": a whole number from 0 to 65535 is needed')
  expect(message([], { LOOPKEEPER_MQTT_PORT: 'eighty' })).toBe('LOOPKEEPER_MQTT_PORT is "eighty": a whole number from 0 to 65535 is needed')
  expect(message(['--fleet', 'big'])).toBe('--fleet is "big": demo or none is needed')
  expect(message(['--prefix', 'a/#'])).toMatch(/^--prefix is "a\/#"/)
  expect(message(['--broker', 'localhost'])).toMatch(/^--broker is "localhost": a URL/)
  expect(message(['--prot', '1'])).toMatch(/^--prot is no option\. Options: --port /)
  expect(message(['--port'])).toBe('--port needs a value: --port PORT')
  expect(message(['--data', '--port'])).toBe('--data needs a value: --data DIR')
})

test('own site files leave the demo fleet out; asking for both is refused, because only one folder is read', () => {
  const r = readConfig(['--sites', 'yards'], {})
  expect(r.ok && [r.config.sitesDir, r.config.fleet]).toEqual(['yards', 'none'])
  expect(message(['--sites', 'yards', '--fleet', 'demo'])).toBe('--sites is "yards" beside --fleet demo, which has site files of its own: leave one of the two out')
  expect(message(['--sites', 'yards'], { LOOPKEEPER_FLEET: 'demo' })).toMatch(/leave one of the two out/)
})

test('several brokers: one value beside them for all, or one for each', () => {
  const r = readConfig(['--broker', 'mqtt://a:1883, mqtts://b:8883', '--broker-user', 'gateway', '--broker-mqtt', '3,5', '--broker-ca-file', ',ca.pem'], {})
  expect(r.ok && r.config.brokers).toMatchObject([
    { url: 'mqtt://a:1883', user: 'gateway', protocol: 4, caFile: null },
    { url: 'mqtts://b:8883', user: 'gateway', protocol: 5, caFile: 'ca.pem' },
  ])
  expect(message(['--broker', 'mqtt://a,mqtt://b,mqtt://c', '--broker-user', 'x,y'])).toBe('--broker-user has 2 values for 3 brokers: one for all, or one for each, with commas')
  expect(message(['--broker', 'mqtt://a', '--broker-mqtt', '4'])).toBe('--broker-mqtt is "4": 3 or 5 is needed')
})

test('a TLS listener needs its port, its certificate and its key', () => {
  const r = readConfig(['--mqtt-tls-port', '8883', '--mqtt-cert-file', 'c.pem', '--mqtt-key-file', 'k.pem'], {})
  expect(r.ok && r.config.mqttTls).toEqual({ port: 8883, certFile: 'c.pem', keyFile: 'k.pem' })
  expect(message(['--mqtt-tls-port', '8883'])).toBe('--mqtt-tls-port, --mqtt-cert-file and --mqtt-key-file belong together: give all three, or none')
})

test('the table of settings and of exit codes in README is the one the product uses', () => {
  const readme = readFileSync(new URL('../../README.md', import.meta.url), 'utf8')
  expect(readme).toContain(settingsTable())
  for (const s of SETTINGS) expect(readme).toContain(s.flag)
  for (const code of Object.values(EXIT)) expect(readme).toMatch(new RegExp(`^\\| ${code} \\|`, 'm'))
})

test('InfluxDB is asked for whole: an address with a database, or with a bucket, organisation and token', () => {
  const one = readConfig(['--influx-url', 'http://127.0.0.1:8086', '--influx-database', 'yards'], {})
  expect(one.ok && one.config.influx).toMatchObject({ url: 'http://127.0.0.1:8086', database: 'yards', bucket: null, user: null })
  const two = readConfig(['--influx-url', 'https://influx.invalid', '--influx-bucket', 'b', '--influx-org', 'o', '--influx-token-file', 't'], {})
  expect(two.ok && two.config.influx).toMatchObject({ database: null, bucket: 'b', org: 'o', tokenFile: 't' })
  expect(readConfig([], {})).toMatchObject({ config: { influx: null } })
  expect(message(['--influx-url', 'localhost:8086', '--influx-database', 'x'])).toBe('--influx-url is "localhost:8086": a URL such as http://127.0.0.1:8086 is needed')
  expect(message(['--influx-url', 'http://a'])).toMatch(/either --influx-database \(1\.x\) or --influx-bucket \(2\.x\) is needed with it, and not both$/)
  expect(message(['--influx-url', 'http://a', '--influx-bucket', 'b'])).toBe('--influx-bucket is "b": --influx-org and --influx-token-file are needed with it')
  expect(message(['--influx-database', 'yards'])).toBe('A setting of InfluxDB is "yards", but --influx-url is not given: give it, or leave the others out')
})

test('what is forgotten is nothing unless said, and an age below the floor is refused', () => {
  expect(readConfig([], {})).toMatchObject({ config: { retention: { keepDays: null, keepBytes: null, keepAtLeastDays: 30 } } })
  expect(readConfig(['--keep-days', '400', '--keep-gb', '2.5'], {})).toMatchObject({ config: { retention: { keepDays: 400, keepBytes: 2.5e9, keepAtLeastDays: 30 } } })
  expect(message(['--keep-days', '10'])).toBe('--keep-days is "10", but readings of 30 days are always kept: lower --keep-at-least-days as well if you mean it')
  expect(message(['--keep-days', '1y'])).toBe('--keep-days is "1y": a whole number from 1 to 36500 is needed')
  expect(message(['--keep-gb', '0'])).toBe('--keep-gb is "0": a number from 0.05 to 1000000 is needed')
})
