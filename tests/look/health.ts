/** A health body with a trouble, a queue, rejected messages and a site file that could not be read. */
import type { HealthBody } from '../../server/wire.ts'

export const fakeHealth = (nowMs: number): HealthBody => ({
  startedMs: nowMs - 7 * 3_600_000,
  nowMs,
  version: '0.0.0-look',
  troubles: ['The own broker has refused 3 sign-ins of "kestrow-berth-3" in the last 10 min: its secret in the controller is not the one in the credentials file.'],
  counters: [
    { name: 'readingsStored', value: 1_204_311, what: 'Readings written to the history since the start.' },
    { name: 'inboxWaiting', value: 412, bound: 200_000, what: 'Readings waiting to be written; when full, messages are not acknowledged and the broker holds them.' },
    { name: 'browserReplaced', value: 9, what: 'Values replaced by newer ones before a slow browser took them.' },
    { name: 'eventLoopWorstMs', value: 23.4, what: 'Longest the program was busy at one stretch in the last minute, ms.' },
  ],
  rejected: { NOT_JSON: 12, UNKNOWN_SIGNAL: 3, CLOCK_AHEAD: 1 },
  rejects: [
    {
      code: 'UNKNOWN_SIGNAL',
      topic: 'loopkeeper/v1/kestrow-berth-3/readings',
      bytes: 182,
      atMs: nowMs - 60_000,
      detail: 'signal "tu.d0" is not in the site file: did you mean "tu.do"?',
    },
    {
      code: 'NOT_JSON',
      topic: 'loopkeeper/v1/yard-with-a-very-long-name-that-somebody-typed-into-a-controller/readings',
      bytes: 17,
      atMs: nowMs - 9_000_000,
      detail: 'ends in the middle of a string at byte 17',
    },
  ],
  siteFaults: [{ file: 'osterhay-sidings.yaml', line: 14, field: 'train[3].volumeL', message: '"lots" is not a number of litres: write for instance 1100' }],
  brokers: [{ name: 'own broker', state: 'listening', detail: '127.0.0.1:1884, 8 loops connected' }],
})
