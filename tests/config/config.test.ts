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
    broker: null,
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

test('the table of settings and of exit codes in README is the one the product uses', () => {
  const readme = readFileSync(new URL('../../README.md', import.meta.url), 'utf8')
  expect(readme).toContain(settingsTable())
  for (const s of SETTINGS) expect(readme).toContain(s.flag)
  for (const code of Object.values(EXIT)) expect(readme).toMatch(new RegExp(`^\\| ${code} \\|`, 'm'))
})
