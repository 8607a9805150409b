/** The past of one loop from its journal and its trends: which alarms stood when, and what the ring looked like. Pure. */
import type { AlarmBody, HistoryBody, JournalBody, LoopDetailBody } from '../../server/wire.ts'
import { LETTER, type Letter } from '../words/words.ts'

export interface Standing {
  readonly alarm: string
  readonly what: string
  readonly letter: Letter
  readonly fromMs: number
  readonly answeredMs: number | null
  readonly by: string | null
  /** The condition was gone from then on. */
  readonly clearedMs: number | null
  /** Nothing of it stood from then on: gone and answered, reset, or closed. */
  readonly endMs: number | null
}

/** One entry per occurrence that was raised in `events`, newest first. Events may come in any order. */
export function standings(events: JournalBody['events']): readonly Standing[] {
  const by = new Map<string, { -readonly [K in keyof Standing]: Standing[K] }>()
  for (const e of events.toSorted((a, b) => a.atMs - b.atMs || a.recordedMs - b.recordedMs)) {
    if (e.kind === 'raised' && !by.has(e.occurrence))
      by.set(e.occurrence, { alarm: e.alarm, what: e.what, letter: LETTER[e.priority], fromMs: e.atMs, answeredMs: null, by: null, clearedMs: null, endMs: null })
    const it = by.get(e.occurrence)
    if (!it) continue
    if (e.kind === 'acknowledged' && it.answeredMs === null) {
      it.answeredMs = e.atMs
      it.by = e.by
    }
    if (e.kind === 'cleared' || e.kind === 'cleared-hidden') it.clearedMs = e.atMs
    if (e.kind === 'raised') it.clearedMs = null
    if (e.kind === 'reset' || e.kind === 'closed' || e.state === 'normal') it.endMs = e.atMs
  }
  return [...by.values()].toSorted((a, b) => b.fromMs - a.fromMs)
}

/** Those of which something is inside the span. */
export const inSpan = (all: readonly Standing[], fromMs: number, toMs: number): readonly Standing[] =>
  all.filter((s) => s.fromMs < toMs && (s.clearedMs ?? s.endMs ?? Number.POSITIVE_INFINITY) > fromMs)

/** The stage an alarm belongs to, from the signal or machine its id begins with; null: the whole site. */
export function stageOf(loop: Pick<LoopDetailBody, 'signals' | 'equipment' | 'alarms'>, alarm: string): string | null {
  const known = loop.alarms.find((a) => a.id === alarm)
  if (known) return known.stage
  const rule = alarm.slice(alarm.indexOf('/') + 1)
  const signal = loop.signals.filter((s) => rule.startsWith(`${s.id}.`)).toSorted((a, b) => b.id.length - a.id.length)[0]
  if (signal) return signal.stage
  return loop.equipment.find((e) => rule.startsWith(`${e.id}.`))?.serves[0] ?? null
}

/** Mean of the span around `ms`, or of the last one before it that a reading still covers; null: none. */
export function meanAt(h: HistoryBody, ms: number, reportEveryMs: number): number | null {
  const i = Math.min(h.at.length - 1, Math.floor((ms - h.fromMs) / h.bucketMs))
  // A reading holds for its own interval: look back so far and no further.
  const back = Math.ceil((1.5 * reportEveryMs) / h.bucketMs)
  for (let j = i; j >= Math.max(0, i - back); j--) {
    const v = h.mean[j]
    if (v !== null && v !== undefined) return v
  }
  return null
}

/** The loop as it stood at `ms`, as far as the journal and the trends on the page can tell. */
export function loopAt(loop: LoopDetailBody, all: readonly Standing[], trends: ReadonlyMap<string, HistoryBody>, ms: number): LoopDetailBody {
  const alarms = all.flatMap((s): AlarmBody[] => {
    if (s.fromMs > ms || (s.endMs !== null && s.endMs <= ms)) return []
    const gone = s.clearedMs !== null && s.clearedMs <= ms
    const answered = s.answeredMs !== null && s.answeredMs <= ms
    // Gone and answered and still no end of it: latched, it waits for its reset.
    const state = gone ? (answered ? 'latched-acknowledged' : 'returned') : answered ? 'acknowledged' : 'unacknowledged'
    const priority = (Object.keys(LETTER) as (keyof typeof LETTER)[]).find((p) => LETTER[p] === s.letter) ?? 'alert'
    return [
      {
        ...BLANK,
        id: s.alarm,
        site: loop.id,
        what: s.what,
        priority,
        stage: stageOf(loop, s.alarm),
        raisedMs: s.fromMs,
        state,
      },
    ]
  })
  const level = (kind: 'finished' | 'sump'): number | null => {
    const stage = loop.stages.find((s) => s.kind === kind)
    const signal = loop.signals.find((s) => s.quantity === 'level' && s.unit === '%' && s.at === stage?.id)
    const h = signal && trends.get(signal.id)
    return h ? meanAt(h, ms, signal.reportEveryMs) : null
  }
  const asked = loop.signals.flatMap((s) => (trends.has(s.id) ? [{ s, h: trends.get(s.id)! }] : []))
  const silent = asked.length > 0 && asked.every(({ s, h }) => lastBefore(h, ms) < ms - 3 * s.reportEveryMs - 10_000)
  const heard = Math.max(...asked.map(({ h }) => lastBefore(h, ms)))
  return { ...loop, alarms, doubtful: [], silent, heardMs: Number.isFinite(heard) ? heard : null, waterPct: level('finished'), sumpPct: level('sump'), waterMin: null }
}

function lastBefore(h: HistoryBody, ms: number): number {
  for (let i = Math.min(h.at.length - 1, Math.floor((ms - h.fromMs) / h.bucketMs)); i >= 0; i--)
    if ((h.count[i] ?? 0) + (h.bad[i] ?? 0) > 0) return Math.min(ms, (h.at[i] ?? 0) + h.bucketMs)
  return Number.NEGATIVE_INFINITY
}

const BLANK: AlarmBody = {
  id: '',
  site: '',
  siteName: '',
  zone: 'UTC',
  stage: null,
  stageName: null,
  signal: null,
  priority: 'alert',
  state: 'normal',
  shown: 'normal',
  shelved: null,
  suppressed: null,
  outOfService: null,
  raisedNote: null,
  hiddenCount: 0,
  reAlarms: 0,
  firstOut: false,
  shelf: { latestMs: null, words: '' },
  occurrence: null,
  version: 0,
  what: '',
  value: null,
  valueNow: null,
  limit: null,
  unit: '',
  digits: 0,
  raisedMs: null,
  clearedMs: null,
  heldSinceMs: null,
  acknowledgedBy: null,
  acknowledgedMs: null,
  note: null,
  count: 1,
  cause: '',
  consequence: '',
  action: [],
  confirm: '',
  respondWithinMin: 0,
  basis: '',
  cautions: [],
}
