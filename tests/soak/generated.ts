/**
 * Messages of every kind a controller or a stranger may send, each with what must become of it, through the whole intake into a real
 * history: every valid reading is stored, every other one stands in a counter by its reason, and all sums are exact.
 */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { createIntake } from '../../gateway/intake/intake.ts'
import type { RejectCode } from '../../gateway/intake/reject-codes.ts'
import { bytes, count, fleet, handClock, message, NOW, PREFIX } from '../intake/parts.ts'

export interface Account {
  readonly messages: number
  readonly accepted: number
  readonly refused: number
  readonly stored: number
  readonly duplicate: number
  readonly conflict: number
  readonly rejected: number
  /** Refusals by code, messages and readings together. */
  readonly byCode: Readonly<Record<string, number>>
}

const KINDS = [
  'single',
  'block',
  'no time',
  'other unit',
  'odd clock',
  'again',
  'otherwise',
  'broken',
  'huge',
  'deep',
  'no site',
  'no signal',
  'wrong unit',
  'no date',
  'empty',
  'no text',
  'word',
  'any JSON',
] as const
type Kind = (typeof KINDS)[number]
interface Drawn {
  readonly kind: Kind
  readonly value: number
  readonly rows: number
  readonly junk: string
}

const drawn: fc.Arbitrary<Drawn> = fc.record({
  kind: fc.constantFrom(...KINDS, 'single', 'single', 'block', 'block'),
  value: fc.integer({ min: 0, max: 1400 }).map((n) => n / 100),
  rows: fc.integer({ min: 1, max: 12 }),
  junk: fc.string({ maxLength: 20 }),
})

const SIGNALS = ['tu.do', 'bio1.do', 'bio1.temperature', 'finished.level']
const HUGE = ' '.repeat(262_145)
const ODD = [0, 1000, 946_684_800_000, NOW * 1000, NOW + 86_400_000, -5]

/** Sends `n` messages; what was counted, and what had to be. */
export async function account(n: number, seed: number): Promise<{ readonly is: Account; readonly expected: Account; readonly inHistory: number }> {
  const dir = mkdtempSync(join(tmpdir(), 'generated-'))
  const clock = handClock()
  const history = openEmbedded({ dir, clock })
  const sites = fleet('ostrand', 'kestrow')
  const intake = createIntake({ sites: () => sites, history, clock, prefix: PREFIX, onReadings: () => undefined })
  const expected = { messages: n, accepted: 0, refused: 0, stored: 0, duplicate: 0, conflict: 0, rejected: 0, byCode: {} as Record<string, number> }
  /** Reading of `t` on tu.do that has been stored. */
  const known: { readonly t: number; readonly value: number }[] = []
  let tick = 0

  const refuse = (code: RejectCode): void => {
    expected.refused++
    expected.byCode[code] = (expected.byCode[code] ?? 0) + 1
  }
  const reject = (code: RejectCode): void => {
    expected.accepted++
    expected.rejected++
    expected.byCode[code] = (expected.byCode[code] ?? 0) + 1
  }
  const store = (readings: number): void => {
    expected.accepted++
    expected.stored += readings
  }
  /** Times of the sender never meet those of arrival, which end in 0. */
  const nextT = (): number => NOW - 10_800_000 + 10 * tick++ + 3
  const send = (topic: string, payload: string | Uint8Array): void => {
    clock.atMs += 10
    intake.offer({ ...message(topic, payload), receivedMs: clock.atMs }, () => undefined)
  }
  const act: Readonly<Record<Kind, (d: Drawn) => void>> = {
    single(d) {
      const t = nextT()
      known.push({ t, value: d.value })
      send('ostrand/tu.do', JSON.stringify({ v: d.value, t, q: 'good' }))
      store(1)
    },
    block(d) {
      const rows = Array.from({ length: d.rows }, () => [nextT(), ...SIGNALS.map((_, k) => d.value + k)])
      send('kestrow', JSON.stringify({ names: SIGNALS, rows }))
      store(d.rows * SIGNALS.length)
    },
    'no time'(d) {
      send('kestrow/tu.ph', String(d.value))
      store(1)
    },
    'other unit'(d) {
      send('ostrand/bio1.do', JSON.stringify({ v: d.value * 1000, t: nextT(), u: 'ug/L' }))
      store(1)
    },
    'odd clock'(d) {
      send('ostrand/bio1.temperature', JSON.stringify({ v: d.value, t: ODD[d.rows % ODD.length] }))
      store(1)
    },
    again(d) {
      const was = known[Math.floor(d.value * 7) % known.length]
      if (!was) return act.single(d)
      send('ostrand/tu.do', JSON.stringify({ v: was.value, t: was.t }))
      expected.accepted++
      expected.duplicate++
    },
    otherwise(d) {
      const was = known[Math.floor(d.value * 7) % known.length]
      if (!was) return act.single(d)
      send('ostrand/tu.do', JSON.stringify({ v: was.value + 1, t: was.t }))
      expected.accepted++
      expected.conflict++
    },
    broken(d) {
      send('ostrand', `{"signals":{"tu.do":${d.value}`)
      refuse('NOT_JSON')
    },
    huge() {
      send('ostrand', HUGE)
      refuse('TOO_LARGE')
    },
    deep(d) {
      send(`ostrand/${'a/'.repeat(d.rows)}b`, '1')
      refuse('TOPIC')
    },
    'no site'(d) {
      send(`nowhere-${d.rows}/tu.do`, '1')
      refuse('UNKNOWN_SITE')
    },
    'no signal'(d) {
      send(`ostrand/tu.unknown-${d.rows}`, '1')
      reject('UNKNOWN_SIGNAL')
    },
    'wrong unit'(d) {
      send('ostrand/tu.do', JSON.stringify({ v: d.value, t: nextT(), u: 'kPa' }))
      reject('UNIT')
    },
    'no date'(d) {
      send('ostrand/tu.do', JSON.stringify({ v: d.value, t: `noon ${d.junk}` }))
      refuse('TIME')
    },
    empty() {
      send('ostrand/tu.do', '')
      refuse('EMPTY')
    },
    'no text'() {
      send('ostrand/tu.do', Uint8Array.of(0x31, 0xff, 0xfe))
      refuse('NOT_UTF8')
    },
    word(d) {
      send('ostrand/tu.do', bytes(`x${d.junk}x`))
      refuse('NOT_A_NUMBER')
    },
    'any JSON'(d) {
      send('ostrand', JSON.stringify([d.junk]))
      refuse('SHAPE')
    },
  }

  try {
    // Not all at once: what fast-check makes is held in memory.
    for (let done = 0; done < n; ) {
      for (const d of fc.sample(drawn, { numRuns: Math.min(5000, n - done), seed: seed + done })) {
        act[d.kind](d)
        done++
      }
      intake.flush()
    }
    const stats = history.stats()
    const is: Account = {
      messages: count(intake, 'intakeMessages'),
      accepted: count(intake, 'intakeAccepted'),
      refused: count(intake, 'intakeRefused'),
      stored: count(intake, 'readingsStored'),
      duplicate: count(intake, 'readingsDuplicate'),
      conflict: count(intake, 'readingsConflict'),
      rejected: count(intake, 'readingsRejected'),
      byCode: intake.quarantine().rejected,
    }
    return { is, expected, inHistory: stats.sealed + stats.unsealed }
  } finally {
    await history.close()
    rmSync(dir, { recursive: true, force: true })
  }
}
