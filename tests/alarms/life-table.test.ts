/**
 * Every state of an alarm, under every combination of what may lie over it, at every event: compared with a table written out
 * here by hand from the rows ALM-T01 to T33 (state names of ISA-18.2 / IEC 62682 from open secondary sources and from memory).
 */
import { expect, test } from 'vitest'
import type { AlarmEvent, AlarmState, EventKind, ShownState } from '../../gateway/alarms/alarm.ts'
import { applyEvent, BORN, type Life } from '../../gateway/alarms/life.ts'
import type { LifeFacts, LifeInput } from '../../gateway/alarms/life-input.ts'
import { transition } from '../../gateway/alarms/lifecycle.ts'
import { NO_OVERLAY, shownOf, type Overlays } from '../../gateway/alarms/overlay.ts'

const ALARM = 'gravel-yard-2/tu.do.low'
const OCC = `${ALARM}@1000-7`
const T = 10_000_000
const HOUR = 3_600_000
const FACTS: LifeFacts = { alarm: ALARM, latching: false, answerRequired: true, defVersion: 3 }

type Letters = string
const SHELF = { untilMs: T + HOUR, oneShot: false, by: 'J. Orme', reason: 'probe on order', atMs: 9000 }
const over = (letters: Letters): Overlays => ({
  ...NO_OVERLAY,
  ...(letters.includes('s') && { shelved: SHELF }),
  ...(letters.includes('1') && { shelved: { ...SHELF, oneShot: true } }),
  ...(letters.includes('d') && { suppressed: { ruleId: 'planned-work', reason: 'planned work', atMs: 9000, endsMs: null, answeredBy: null } }),
  ...(letters.includes('o') && { outOfService: { by: 'J. Orme', reason: 'probe broken', measure: 'test kit daily', reviewMs: T + HOUR, atMs: 9000, overdue: false } }),
})

/** Nothing; shelved, one-shot, by design, out of service, and every pair and triple of them. */
const OVERLAYS: readonly Letters[] = ['', 's', '1', 'd', 'o', 'sd', '1d', 'so', '1o', 'do', 'sdo', '1do']
const STATES: readonly AlarmState[] = ['normal', 'unacknowledged', 'acknowledged', 'returned', 'latched-unacknowledged', 'latched-acknowledged']

function lifeIn(state: AlarmState, letters: Letters, announced = true): Life {
  const answered = state === 'acknowledged' || state === 'latched-acknowledged'
  const base: Life = { ...BORN, ...over(letters), version: 20, count: 7 }
  if (state === 'normal') return base
  return {
    ...base,
    state,
    occurrence: OCC,
    raisedMs: 1000,
    value: 1.4,
    limit: 2,
    unit: 'mg/L',
    announced,
    ...(answered && { acknowledgedBy: 'J. Orme', acknowledgedMs: 1500, acknowledgedOccurrence: OCC }),
  }
}

const p = { atMs: T, by: 'A. Reyes', version: null }
const INPUTS = {
  raise: { kind: 'raise', atMs: T, value: 1.9, limit: 2, unit: 'mg/L' },
  clear: { kind: 'clear', atMs: T, value: 2.4 },
  acknowledge: { kind: 'acknowledge', ...p, occurrence: OCC, note: null },
  reset: { kind: 'reset', ...p, occurrence: OCC, note: null },
  're-alarm': { kind: 're-alarm', atMs: T },
  shelve: { kind: 'shelve', ...p, untilMs: T + HOUR, oneShot: false, reason: 'part comes tomorrow', bound: { latestMs: T + HOUR, words: 'an hour at most' } },
  'shelf-over': { kind: 'shelf-over', atMs: T },
  unshelve: { kind: 'unshelve', ...p },
  suppress: { kind: 'suppress', atMs: T, ruleId: 'planned-work', reason: 'planned work', level: false },
  unsuppress: { kind: 'unsuppress', atMs: T, level: false },
  'out-of-service': { kind: 'out-of-service', ...p, reason: 'probe broken', measure: 'test kit daily', reviewMs: T + HOUR },
  'in-service': { kind: 'in-service', ...p },
  'review-due': { kind: 'review-due', atMs: T },
  hold: { kind: 'hold', atMs: T },
  release: { kind: 'release', atMs: T },
  close: { kind: 'close', atMs: T, note: 'gone' },
} as const satisfies Record<string, LifeInput>
type Kind = keyof typeof INPUTS

const U = 'unacknowledged'
const A = 'acknowledged'
const R = 'returned'
const LU = 'latched-unacknowledged'
const LA = 'latched-acknowledged'
const N = 'normal'

interface Cell {
  /** Own state afterwards; '=': nothing happens; 'no': refused; '409': refused as out of date. */
  readonly to: AlarmState | '=' | 'no' | '409'
  /** Letters of what lies over it afterwards; left out: as before. */
  readonly over?: Letters
  readonly kinds?: readonly EventKind[]
  /** Row of the table. */
  readonly row: string
}
const same = (row: string): Cell => ({ to: '=', row })
const go = (to: AlarmState, row: string, ...kinds: EventKind[]): Cell => ({ to, row, kinds })

/** [normal, unacknowledged, acknowledged, returned, latched-unacknowledged, latched-acknowledged], nothing over it, not latching. */
const OPEN: Partial<Record<Kind, readonly Cell[]>> = {
  raise: [go(U, 'T01', 'raised'), same('T01'), same('T01'), go(U, 'T06', 'closed', 'raised'), go(U, 'T12', 'closed', 'raised'), go(U, 'T13', 'closed', 'raised')],
  clear: [same('T03'), go(R, 'T03', 'cleared'), go(N, 'T04', 'cleared'), same('T03'), same('T09'), same('T10')],
  acknowledge: [{ to: '409', row: 'T29' }, go(A, 'T02', 'acknowledged'), same('T29'), go(N, 'T05', 'acknowledged'), go(LA, 'T11', 'acknowledged'), same('T29')],
  reset: [same('T14'), { to: 'no', row: 'T16' }, { to: 'no', row: 'T16' }, same('T14'), { to: 'no', row: 'T15' }, go(N, 'T14', 'reset')],
  're-alarm': [same('T07'), same('T07'), go(U, 'T07', 're-alarmed'), same('T07'), same('T07'), same('T07')],
  close: [same('T33'), go(N, 'T33', 'closed'), go(N, 'T33', 'closed'), go(N, 'T33', 'closed'), go(N, 'T33', 'closed'), go(N, 'T33', 'closed')],
  hold: STATES.map((s) => (s === N ? same('T31') : go(s, 'T31', 'held'))),
  release: STATES.map(() => same('T31')),
}

/** The same for what happens below an overlay. */
const HIDDEN: Partial<Record<Kind, readonly Cell[]>> = {
  ...OPEN,
  raise: [
    go(U, 'T28', 'raised-hidden'),
    same('T28'),
    same('T28'),
    go(U, 'T28', 'closed', 'raised-hidden'),
    go(U, 'T28', 'closed', 'raised-hidden'),
    go(U, 'T28', 'closed', 'raised-hidden'),
  ],
  clear: [same('T28'), go(N, 'T28', 'cleared-hidden'), go(N, 'T28', 'cleared-hidden'), same('T28'), same('T28'), same('T28')],
  acknowledge: STATES.map(() => ({ to: 'no', row: 'T29' })),
  reset: STATES.map(() => ({ to: 'no', row: 'T28' })),
  're-alarm': STATES.map(() => same('T28')),
}

/** What is shown once the last overlay has gone: [what the state becomes, events after the one that says so]. */
const LEFT: Readonly<Record<AlarmState, readonly [AlarmState, readonly EventKind[]]>> = {
  normal: [N, []],
  unacknowledged: [U, ['closed', 'raised']],
  acknowledged: [U, ['closed', 'raised']],
  returned: [N, []],
  'latched-unacknowledged': [LU, []],
  'latched-acknowledged': [LU, []],
}

const ON = { shelve: ['s', 'shelved', 'T17'], suppress: ['d', 'suppressed', 'T22'], 'out-of-service': ['o', 'out-of-service', 'T24'] } as const
const OFF = {
  'shelf-over': [['s', '1'], 'unshelved', 'T18/T19', true],
  unshelve: [['s', '1'], 'unshelved', 'T20', false],
  unsuppress: [['d'], 'unsuppressed', 'T23', true],
  'in-service': [['o'], 'in-service', 'T25', false],
} as const

function cellOf(state: AlarmState, letters: Letters, kind: Kind): Cell {
  const at = STATES.indexOf(state)
  if (kind in ON) {
    const [letter, event, row] = ON[kind as keyof typeof ON]
    if (kind === 'suppress' && letters.includes('d')) return same('T22')
    const rest = kind === 'shelve' ? letters.replace(/[s1]/, '') : letters.replace(letter, '')
    return { to: state, over: rest + letter, kinds: [event], row: state === N && kind === 'shelve' ? 'T30' : row }
  }
  if (kind in OFF) {
    const [mine, event, row, quiet] = OFF[kind as keyof typeof OFF]
    const letter = mine.find((l) => letters.includes(l))
    if (letter === undefined) return quiet ? same(row) : { to: 'no', row }
    const rest = letters.replace(letter, '')
    if (rest !== '') return { to: state, over: rest, kinds: [event], row: 'T27' }
    const [to, kinds] = LEFT[state]
    return { to, over: '', kinds: [event, ...kinds], row }
  }
  if (kind === 'review-due') return letters.includes('o') ? { to: state, kinds: ['review-overdue'], row: 'T26' } : same('T26')
  const cell = (letters === '' ? OPEN : HIDDEN)[kind]?.[at]
  if (!cell) throw new Error(`the table has no cell for ${state}, ${letters}, ${kind}`)
  // A one-shot shelf ends at the return to normal.
  if (kind === 'clear' && letters.includes('1') && cell.kinds) return { ...cell, row: 'T21', over: letters.replace('1', ''), kinds: [...cell.kinds, 'unshelved'] }
  return cell
}

const CELLS = STATES.flatMap((state) =>
  OVERLAYS.flatMap((letters) => (Object.keys(INPUTS) as Kind[]).map((kind) => ({ state, letters, kind, cell: cellOf(state, letters, kind) }))),
)
const named = CELLS.map((c) => ({ ...c, title: `ALM-${c.cell.row.split('/').join('/ALM-')} ${c.state}${c.letters === '' ? '' : ` below ${c.letters}`}, ${c.kind}: ${c.cell.to}` }))

const lettersOf = (o: Overlays): Letters => `${o.shelved ? (o.shelved.oneShot ? '1' : 's') : ''}${o.suppressed ? 'd' : ''}${o.outOfService ? 'o' : ''}`
const ordered = (l: Letters): Letters => ['s', '1', 'd', 'o'].filter((x) => l.includes(x)).join('')

function check(life: Life, input: LifeInput, facts: LifeFacts, cell: Cell): readonly AlarmEvent[] {
  const r = transition(life, input, facts, T + 500)
  if (cell.to === '=') {
    expect(r).toEqual({ life, events: [], refused: null })
    return []
  }
  if (cell.to === 'no' || cell.to === '409') {
    expect(r).toMatchObject({ events: [], refused: { code: cell.to === 'no' ? 'not-allowed' : 'stale-occurrence' } })
    expect(r.life).toBe(life)
    return []
  }
  expect(r.refused).toBeNull()
  expect(r.life.state).toBe(cell.to)
  expect(lettersOf(r.life)).toBe(ordered(cell.over ?? lettersOf(life)))
  expect(r.events.map((e) => e.kind)).toEqual(cell.kinds)
  // Nothing but the events: applied anew they give the same life.
  expect(r.events.reduce(applyEvent, life)).toEqual(r.life)
  expect(r.life.version).toBe(life.version + r.events.length)
  expect(r.life.occurrence === null).toBe(r.life.state === 'normal')
  return r.events
}

test('the table covers 6 states, 12 combinations of overlays and 16 events: 1,152 cells, and every row T01 to T33', () => {
  expect(CELLS).toHaveLength(6 * 12 * 16)
  const rows = new Set(CELLS.flatMap((c) => c.cell.row.split('/')))
  // T08 and T32 are about two levels of one signal and about alerts; they are below.
  const all = Array.from({ length: 33 }, (_, i) => `T${String(i + 1).padStart(2, '0')}`)
  expect([...rows, 'T08', 'T32'].toSorted()).toEqual(all)
})

test.each(named)('$title', ({ state, letters, kind, cell }) => {
  const events = check(lifeIn(state, letters), INPUTS[kind], FACTS, cell)
  if (letters !== '' && cell.over === undefined) expect(events.some((e) => e.kind === 'raised' || e.kind === 're-alarmed')).toBe(false)
})

test.each(STATES.filter((s) => s === U || s === A))('ALM-T09/T10 from %s a clear latches what latches; below an overlay it will ask for an answer afterwards', (state) => {
  const latching = { ...FACTS, latching: true }
  check(lifeIn(state, ''), INPUTS.clear, latching, { to: state === U ? LU : LA, kinds: ['cleared'], row: '' })
  for (const letters of ['s', 'd', 'o', 'sdo']) check(lifeIn(state, letters), INPUTS.clear, latching, { to: LU, kinds: ['cleared-hidden'], row: '' })
  check(lifeIn(state, '1'), INPUTS.clear, latching, { to: LU, over: '', kinds: ['cleared-hidden', 'unshelved'], row: '' })
})

test('ALM-T19/T23/T25 an occurrence nobody was told of is announced under its own name, with the time since when it has been there', () => {
  for (const [kind, letters] of [
    ['shelf-over', 's'],
    ['unshelve', '1'],
    ['unsuppress', 'd'],
    ['in-service', 'o'],
  ] as const) {
    const [left, raised] = check(lifeIn(U, letters, false), INPUTS[kind], FACTS, { to: U, over: '', kinds: [OFF[kind][1], 'raised'], row: '' })
    expect(left?.kind).toBe(OFF[kind][1])
    expect(raised).toMatchObject({ occurrence: OCC, facts: { sinceMs: 1000 }, atMs: T })
  }
})

test('ALM-T18/S5 what latched out of sight is announced when nothing lies over it any more, though its condition has gone', () => {
  for (const [kind, letters] of [
    ['shelf-over', 's'],
    ['unsuppress', 'd'],
    ['in-service', 'o'],
  ] as const) {
    const events = check(lifeIn(LU, letters, false), INPUTS[kind], { ...FACTS, latching: true }, { to: LU, over: '', kinds: [OFF[kind][1], 'raised'], row: '' })
    expect(events[1]).toMatchObject({ occurrence: OCC, state: LU, facts: { sinceMs: 1000 } })
  }
})

test('ALM-T19 one that had been told before it was hidden gets a new name and number and keeps its time', () => {
  const r = transition(lifeIn(A, 's'), INPUTS['shelf-over'], FACTS, T)
  expect(r.life).toMatchObject({ occurrence: `${ALARM}@${T}-8`, count: 8, raisedMs: 1000, acknowledgedBy: null, announced: true })
})

test('ALM-T28 hidden raises are counted from the moment something lies over the alarm, and kept when it has gone', () => {
  let life = transition(lifeIn(N, ''), INPUTS.shelve, FACTS, T).life
  for (let i = 0; i < 3; i++) {
    life = transition(life, { ...INPUTS.raise, atMs: T + i }, FACTS, T + i).life
    life = transition(life, { ...INPUTS.clear, atMs: T + i }, FACTS, T + i).life
  }
  expect(life).toMatchObject({ hiddenCount: 3, count: 10, state: N })
  life = transition(life, INPUTS['shelf-over'], FACTS, T).life
  expect(life.hiddenCount).toBe(3)
  expect(transition(life, INPUTS.shelve, FACTS, T).life.hiddenCount).toBe(0)
})

test('ALM-T32 an alert is steady from the start, hidden or not, and comes back steady', () => {
  const alert = { ...FACTS, answerRequired: false }
  check(lifeIn(N, ''), INPUTS.raise, alert, { to: A, kinds: ['raised'], row: '' })
  check(lifeIn(N, 's'), INPUTS.raise, alert, { to: A, kinds: ['raised-hidden'], row: '' })
  check(lifeIn(A, 's', false), INPUTS.unshelve, alert, { to: A, over: '', kinds: ['unshelved', 'raised'], row: '' })
  check(lifeIn(A, ''), INPUTS['re-alarm'], alert, { to: '=', row: '' })
})

test('what is shown: out of service before suppressed before shelved before the state itself', () => {
  const expected: Readonly<Record<string, ShownState>> = {
    '': U,
    s: 'shelved',
    '1': 'shelved',
    d: 'suppressed',
    o: 'out-of-service',
    sd: 'suppressed',
    so: 'out-of-service',
    do: 'out-of-service',
    sdo: 'out-of-service',
  }
  for (const [letters, shown] of Object.entries(expected)) expect(shownOf(over(letters), U)).toBe(shown)
})

test('ALM-T17/ALM-50 a shelf needs a reason, an end that lies ahead, and no more time than the alarm may rest', () => {
  const bad = (change: Partial<typeof INPUTS.shelve>): string | undefined => transition(lifeIn(U, ''), { ...INPUTS.shelve, ...change } as LifeInput, FACTS, T).refused?.message
  expect(bad({ reason: '  ' as never })).toMatch(/reason is needed/)
  expect(bad({ untilMs: T })).toMatch(/has passed/)
  expect(bad({ untilMs: T + HOUR + 1 })).toBe('an hour at most')
  expect(bad({ bound: { latestMs: null, words: 'protects people' } as never })).toBe('protects people')
  expect(bad({})).toBeUndefined()
})

test('ALM-T24/ALM-58 out of service needs a reason, what is done meanwhile, and a date of review within 30 days', () => {
  const bad = (change: object): string | undefined => transition(lifeIn(U, ''), { ...INPUTS['out-of-service'], ...change }, FACTS, T).refused?.message
  expect(bad({ reason: '' })).toMatch(/reason is needed/)
  expect(bad({ measure: ' ' })).toMatch(/done meanwhile/)
  expect(bad({ reviewMs: T })).toMatch(/has passed/)
  expect(bad({ reviewMs: T + 30 * 24 * HOUR + 1 })).toMatch(/more than 30 days/)
  expect(bad({ reviewMs: T + 30 * 24 * HOUR })).toBeUndefined()
})

test('ALM-T26 the passing of a review date is told once; a new date begins anew', () => {
  const late = transition(lifeIn(U, 'o'), INPUTS['review-due'], FACTS, T).life
  expect(late.outOfService?.overdue).toBe(true)
  expect(transition(late, INPUTS['review-due'], FACTS, T).events).toEqual([])
  expect(transition(late, INPUTS['out-of-service'], FACTS, T).life.outOfService?.overdue).toBe(false)
})

test('ALM-22 whoever acts on an older version is refused, whatever the act', () => {
  for (const kind of ['acknowledge', 'reset', 'shelve', 'unshelve', 'out-of-service', 'in-service'] as const) {
    const letters = kind === 'unshelve' ? 's' : kind === 'in-service' ? 'o' : ''
    const state = kind === 'reset' ? LA : U
    expect(transition(lifeIn(state, letters), { ...INPUTS[kind], version: 19 }, FACTS, T).refused?.code).toBe('stale-version')
    expect(transition(lifeIn(state, letters), { ...INPUTS[kind], version: 20 }, FACTS, T).refused).toBeNull()
  }
})

test('ALM-55 the alarm that starts a suppression is not hidden by it', () => {
  expect(transition(lifeIn(U, ''), { ...INPUTS.suppress, ruleId: ALARM }, FACTS, T)).toMatchObject({ events: [], refused: { code: 'not-allowed' } })
})
