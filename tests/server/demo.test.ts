import { expect, test } from 'vitest'
import { hostInUrl } from '../../server/demo.ts'

test.each([
  ['127.0.0.1', '127.0.0.1'],
  ['::1', '[::1]'],
  ['fe80::2', '[fe80::2]'],
  ['yard.example', 'yard.example'],
  // Listening everywhere is no address to call.
  ['0.0.0.0', '127.0.0.1'],
  ['::', '[::1]'],
])('the fleet calls a broker that listens on %s at %s', (host, url) => {
  expect(hostInUrl(host)).toBe(url)
})
