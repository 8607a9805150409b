import { expect, test } from 'vitest'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { bytes, intakeWith, NOW, PREFIX } from './parts.ts'

const MIN = 60_000

function site(signals: string) {
  const text = `id: ostrand\nname: Ostrand\nzone: Europe/Lisbon\nreportEvery: 60s\ntrain: [{ stage: sump }, { stage: treatment }, { stage: bio }, { stage: finished }]\nequipment:\n  blower: { kind: aerator, serves: [tu, bio1] }\n  hp: { kind: pump }\nsignals:\n  blower.run:\n${signals}`
  return readSiteFile('ostrand.yaml', text)
}

/** Flags of `signal`, one row a minute as `rows` makes them. */
function flags(signals: string, signal: string, rows: readonly Readonly<Record<string, number>>[]): (number | undefined)[] {
  const read = site(signals)
  if (!read.ok) throw new Error(JSON.stringify(read.faults))
  const { intake, history } = intakeWith({ sites: () => new Map([['ostrand', read.site]]) })
  rows.forEach((row, i) =>
    intake.take({
      topic: `${PREFIX}/ostrand`,
      payload: bytes(JSON.stringify({ t: NOW + i * MIN, signals: row })),
      receivedMs: NOW + i * MIN,
      retained: false,
      site: null,
      broker: 'test',
    }),
  )
  return history.stored.filter((r) => r.key === `ostrand/${signal}`).map((r) => r.qc)
}
const rows = (n: number, of: (i: number) => Readonly<Record<string, number>>) => Array.from({ length: n }, (_, i) => of(i))

test('QAR-27 a signal with runWhen is watched for standing still only while that machine runs', () => {
  const still = '  hp.run:\n  hp.flow: { checks: { flat: { runWhen: hp.run, suspectAfter: 10min, failAfter: 30min }, why: "stands still when nobody washes" } }\n'
  const while_ = (run: number) =>
    flags(
      still,
      'hp.flow',
      rows(25, () => ({ 'hp.run': run, 'hp.flow': 12 })),
    )
  expect(while_(0).filter((f) => f === 3 || f === 4)).toEqual([])
  expect(while_(1).at(-1)).toBe(3)
  // The state is not known: nothing is said.
  expect(
    flags(
      still,
      'hp.flow',
      rows(25, () => ({ 'hp.flow': 12 })),
    ).filter((f) => f === 3),
  ).toEqual([])
})

test('QAR-22 oxygen that stands still through 20 min without air is suspect at once, and with the air on it is not', () => {
  const through = (air: number) =>
    flags(
      '  tu.do:\n',
      'tu.do',
      rows(40, (i) => ({ 'blower.run': i < 5 ? 1 : air, 'tu.do': i < 5 ? 6 + i / 10 : 6.5 })),
    )
  expect(through(1).includes(3)).toBe(false)
  const off = through(0)
  expect(off.indexOf(3)).toBe(25)
  // It moves, as oxygen does without air: nothing is wrong with the probe.
  expect(
    flags(
      '  tu.do:\n',
      'tu.do',
      rows(40, (i) => ({ 'blower.run': i < 5 ? 1 : 0, 'tu.do': 6.5 - i / 20 })),
    ).includes(3),
  ).toBe(false)
})

test('QAR-17 a step that its companion does not follow is suspect, and one that both take in the same message is not, whichever stands first', () => {
  const pair = (a: string, b: string) =>
    `  ${a}: { checks: { multivariate: { with: ${b}, own: 3, other: 3 }, spread: { over: 2h, minSamples: 10 }, spike: off, rate: off, why: "one water" } }\n  ${b}: { checks: { spread: { over: 2h, minSamples: 10 }, spike: off, rate: off, why: "one water" } }\n`
  const wave = (i: number): number => 7 + (i % 2) / 50
  const step = (first: string, second: string, both: boolean) =>
    flags(
      pair('tu.ph', 'bio1.ph'),
      'tu.ph',
      rows(31, (i) => ({ [first]: wave(i) + (i === 30 && (both || first === 'tu.ph') ? 0.4 : 0), [second]: wave(i) + (i === 30 && (both || second === 'tu.ph') ? 0.4 : 0) })),
    ).at(-1)
  for (const [a, b] of [
    ['tu.ph', 'bio1.ph'],
    ['bio1.ph', 'tu.ph'],
  ] as const) {
    expect(step(a, b, false), `${a} first, alone`).toBe(3)
    expect(step(a, b, true), `${a} first, both`).toBe(1)
  }
})

test('a runWhen or a companion that is no signal of the file is told with what there is', () => {
  const read = site('  tu.ph: { checks: { flat: { runWhen: acid.run }, neighbour: { with: bio9.ph }, spread: { over: 2h }, why: "x" } }\n')
  if (read.ok) throw new Error('taken')
  expect(read.faults.map((f) => f.message).join(' ')).toMatch(/"acid\.run" found: no signal of this file; it has blower\.run, tu\.ph.*"bio9\.ph" found/)
})
