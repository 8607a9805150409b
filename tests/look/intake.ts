/** What the intake page is told: refusals of several kinds, signals in no site file of both sorts, sites with and without a plan. And what machines of a loop add up to. */
import { intakeRows } from '../../server/routes/intake.ts'
import type { MachinesBody, QuarantineBody, TrafficBody, UnassignedBody } from '../../server/wire.ts'
import { REJECT_CODES, type RejectCode } from '../../gateway/intake/reject-codes.ts'
import type { GatewayPort, UnassignedSignal } from '../../gateway/port.ts'

const entry = (code: RejectCode, topic: string, detail: string, bytes: number, count: number, firstMs: number, lastMs: number): QuarantineBody['entries'][number] => ({
  code,
  ...REJECT_CODES[code],
  pattern: topic,
  topic,
  detail,
  bytes,
  count,
  firstMs,
  lastMs,
})

export const fakeQuarantine = (nowMs: number): QuarantineBody => ({
  entries: [
    entry(
      'UNKNOWN_SITE',
      'loopkeeper/v1/yard-with-a-very-long-name-that-somebody-typed-into-a-controller/tu.do',
      'no site file has this id',
      4,
      1204,
      nowMs - 9_000_000,
      nowMs - 4000,
    ),
    entry('NOT_JSON', 'loopkeeper/v1/kestrow-berth-3', 'ends in the middle of a string at byte 17', 17, 12, nowMs - 86_400_000, nowMs - 60_000),
    entry('TOO_LARGE', 'loopkeeper/v1/saltrigg-boat-park', 'a packet of 1048601 bytes, and 524288 is the most: it was not read', 1_048_601, 3, nowMs - 400_000, nowMs - 100_000),
  ],
  totals: { UNKNOWN_SITE: 1204, NOT_JSON: 12, TOO_LARGE: 3 },
})

const UNASSIGNED = (nowMs: number): readonly UnassignedSignal[] => [
  {
    site: 'kestrow-berth-3',
    signal: 'panel.x7',
    from: null,
    count: 400,
    firstMs: nowMs - 24_000_000,
    lastMs: nowMs - 20_000,
    lastValue: 7.14,
    perMin: 1,
    guess: { quantity: 'ph', unit: '[pH]', because: '"x7" in its name, and its figures fit' },
  },
  {
    site: 'saltrigg-boat-park',
    signal: 'registers.r17.scaled_value_of_the_second_input_card',
    from: { topic: 'quay/unit7/telemetry', path: 'registers.r17.scaled_value_of_the_second_input_card', when: null },
    count: 1,
    firstMs: nowMs - 1000,
    lastMs: nowMs - 1000,
    lastValue: 4096,
    perMin: null,
    guess: null,
  },
]

/** Made by the real row, so that quantities and units are those of the product. */
export function fakeUnassigned(gateway: Pick<GatewayPort, 'site'>, nowMs: number, adopted: ReadonlySet<string>): Promise<UnassignedBody> {
  const row = intakeRows.find((r) => r.path === '/api/unassigned')
  const told = { ...gateway, unassigned: () => UNASSIGNED(nowMs).filter((u) => !adopted.has(u.signal)) }
  return row?.handle({ gateway: told } as never, { params: {}, query: {}, body: undefined, nowMs } as never) as Promise<UnassignedBody>
}

export const fakeTraffic = (sites: readonly { readonly id: string; readonly name: string }[], nowMs: number): TrafficBody => ({
  sites: sites.map(({ id, name }, i) => ({
    site: id,
    siteName: name,
    heardMs: i === 2 ? null : nowMs - 4000,
    messages: 400 * i,
    bytes: 90_000 * i,
    planMb: i % 3 === 1 ? 50 : i % 3 === 2 ? null : 20,
    month:
      i === 2
        ? null
        : {
            month: '2026-11',
            messages: 21_000 + i,
            bytes: 4_400_000 + i,
            sinceMs: nowMs - 9 * 86_400_000,
            usedMb: 7.2 + i,
            monthMb: i === 3 ? 28.4 : 13.1,
            ofPlan: i % 3 === 2 ? null : i === 3 ? 1.42 : 0.26,
          },
    clockBehindMs: i === 1 ? 725_000 : 300,
    clockDriftMsPerDay: null,
  })),
})

export const fakeMachines = (equipment: readonly { readonly id: string; readonly name: string }[], nowMs: number): MachinesBody => ({
  nowMs,
  machines: equipment.map(({ id, name }, i) => ({
    id,
    name,
    by: i % 2 === 0 ? 'meter' : 'run',
    day: { hours: i === 3 ? null : 23.4 / (i + 1), starts: i === 0 ? null : 14 * i, atLeast: i === 2 },
    week: { hours: 160.2 / (i + 1), starts: i === 0 ? null : 98 * i, atLeast: i === 2 },
    meter: i % 2 === 0 ? 12_411.3 : null,
    resets: 0,
    replacements: i === 2 ? 1 : 0,
    rollovers: 0,
  })),
})
