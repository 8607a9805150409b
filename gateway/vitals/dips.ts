/**
 * What washing does to the oxygen of a tank: the dip of each wash block, and how long the tank needs to come back. A living tank dips when it is
 * fed; a dip that stays away is the first sign of a poisoned one, and an idle tank at 93 % saturation every night is not.
 *
 * A block is washing with pauses under two hours, of three hours at most: a long day is several blocks against the same rest, because a culture that
 * is poisoned at nine breathes no more at noon. Its dip is oxygen at rest before the washing, less the lowest five-minute mean in it. What it should
 * have been is learned from this loop's own earlier blocks: dip = a x (most washed in two hours)^b x exp(c x temperature), fitted in logarithms
 * with b and c held near what is usual until the blocks themselves tell. source: common practice, no source
 */
import type { Air } from './air.ts'
import { type Grade, GOOD, worse } from './grade.ts'
import type { Memory } from './memory.ts'
import { type Slot, valueAt } from './slots.ts'
import { Z80 } from './spread.ts'
import type { Washing } from './washing.ts'

const MIN = 60_000
const HOUR = 3_600_000
const BIN_MS = 5 * MIN
/** Bins of oxygen remembered: three and a half hours. */
const BINS = 42
const PAUSE_MS = 2 * HOUR
/** Food of an hour is eaten within the next: what comes three hours later tells of the culture anew. Common practice, no source. */
const LONGEST_MS = 3 * HOUR
const MOST_BLOCKS = 80
/** Less water than this is a rinse, no block. */
const LEAST_L = 200
/** Back means within this of oxygen at rest, mg/L; a smaller dip is not timed. Common practice, no source. */
export const BACK_WITHIN = 1
const LEAST_TIMED = 1.5
export const SLOW_RECOVERY_MIN = 180

export interface Block {
  readonly fromMs: number
  readonly lastMs: number
  readonly washedL: number
  /** Most washed in any two hours of it, L. */
  readonly peakL: number
  readonly restMgPerL: number
  readonly dipMgPerL: number
  readonly celsius: number
  readonly grade: Grade
}

export interface Recovery {
  readonly fromMs: number
  readonly minutes: number
  readonly atLeast: boolean
  readonly dipMgPerL: number
  readonly grade: Grade
}

interface Open {
  fromMs: number
  lastMs: number
  washedL: number
  peakL: number
  /** [time, litres] of the last two hours, in bins of five minutes. */
  recent: [number, number][]
  restMgPerL: number | null
  lowest: number | null
  /** Air was off or unknown in it: says nothing of the biology. */
  broken: boolean
  grade: Grade
}

export interface DipState {
  bin: { fromMs: number; sum: number; n: number; grade: Grade } | null
  bins: { atMs: number; mean: number; grade: Grade }[]
  open: Open | null
  waiting: { readonly sinceMs: number; readonly rest: number; readonly dip: number; grade: Grade } | null
  blocks: Block[]
  recovery: Recovery | null
  noRecovery: string | null
  blockVersion: number
  recoveryVersion: number
  notJudged: string | null
}

export interface Dips {
  readonly state: Readonly<DipState>
}

const fresh = (): DipState => ({
  bin: null,
  bins: [],
  open: null,
  waiting: null,
  blocks: [],
  recovery: null,
  noRecovery: null,
  blockVersion: 0,
  recoveryVersion: 0,
  notJudged: null,
})

export function watchDips(stage: string, oxygen: Slot, temperature: Slot, air: Air | null, washing: Washing, memory: Memory): Dips {
  const s = memory.of<DipState>(`dips ${stage}`, fresh)

  const closeBin = (): void => {
    const { bin } = s
    if (!bin || bin.n === 0) return
    const mean = bin.sum / bin.n
    s.bins.push({ atMs: bin.fromMs, mean, grade: bin.grade })
    if (s.bins.length > BINS) s.bins.shift()
    const { open } = s
    if (open) {
      open.grade = worse(open.grade, bin.grade)
      // A bin that began before the block is still of the time at rest.
      if (bin.fromMs >= open.fromMs) open.lowest = open.lowest === null ? mean : Math.min(open.lowest, mean)
      if (air && air.on(bin.fromMs + BIN_MS) !== true) open.broken = true
    }
    recover(bin.fromMs, mean, bin.grade)
  }

  const recover = (atMs: number, mean: number, grade: Grade): void => {
    const { waiting } = s
    if (!waiting || atMs < waiting.sinceMs) return
    waiting.grade = worse(waiting.grade, grade)
    const minutes = Math.max(0, (atMs + BIN_MS / 2 - waiting.sinceMs) / MIN)
    const back = mean >= waiting.rest - BACK_WITHIN
    if (!back && minutes < SLOW_RECOVERY_MIN) return
    s.recovery = { fromMs: waiting.sinceMs, minutes: Math.min(minutes, SLOW_RECOVERY_MIN), atLeast: !back, dipMgPerL: waiting.dip, grade: waiting.grade }
    s.noRecovery = null
    s.waiting = null
    s.recoveryVersion++
  }

  const close = (atMs: number): void => {
    const { open } = s
    s.open = null
    if (!open || open.washedL < LEAST_L) return
    const celsius = valueAt(temperature, atMs, 2 * HOUR)
    const refuse = (why: string): void => {
      s.notJudged = why
      s.blockVersion++
    }
    if (open.restMgPerL === null) return refuse('oxygen at rest before the last wash block was not seen')
    if (open.lowest === null) return refuse('oxygen was not seen during the last wash block')
    if (open.broken) return refuse('the air was off or not known during the last wash block')
    if (typeof celsius === 'string') return refuse(celsius)
    s.notJudged = null
    s.blocks.push({
      fromMs: open.fromMs,
      lastMs: open.lastMs,
      washedL: open.washedL,
      peakL: open.peakL,
      restMgPerL: open.restMgPerL,
      dipMgPerL: Math.max(0, open.restMgPerL - open.lowest),
      celsius,
      grade: worse(open.grade, temperature.grade),
    })
    if (s.blocks.length > MOST_BLOCKS) s.blocks.shift()
    s.blockVersion++
  }

  const passTime = (atMs: number): void => {
    if (s.open && atMs - s.open.lastMs > PAUSE_MS) close(s.open.lastMs + PAUSE_MS)
  }

  oxygen.listeners.push((x) => {
    passTime(x.atMs)
    const fromMs = Math.floor(x.atMs / BIN_MS) * BIN_MS
    if (s.bin && s.bin.fromMs !== fromMs) {
      closeBin()
      s.bin = null
    }
    if (x.value === null) return
    s.bin ??= { fromMs, sum: 0, n: 0, grade: GOOD }
    s.bin.sum += x.value
    s.bin.n++
    s.bin.grade = worse(s.bin.grade, x.grade)
  })

  washing.tally.listeners.push((litres, washedFromMs, atMs, grade) => {
    passTime(atMs)
    const before = s.open && atMs - s.open.fromMs > LONGEST_MS ? s.open : null
    if (before) close(atMs)
    const rest = s.bins.filter((b) => b.atMs >= washedFromMs - 45 * MIN && b.atMs + BIN_MS <= washedFromMs)
    if (!s.open) {
      s.open = {
        fromMs: Math.max(washedFromMs, atMs - HOUR, before?.lastMs ?? 0),
        lastMs: atMs,
        washedL: 0,
        peakL: 0,
        recent: [],
        restMgPerL: before ? before.restMgPerL : rest.length >= 3 ? rest.reduce((sum, b) => sum + b.mean, 0) / rest.length : null,
        lowest: null,
        broken: false,
        grade: rest.reduce<Grade>((g, b) => worse(g, b.grade), GOOD),
      }
    }
    const { open } = s
    open.lastMs = atMs
    open.washedL += litres
    open.grade = worse(open.grade, grade)
    const bin = Math.floor(atMs / BIN_MS) * BIN_MS
    const last = open.recent.at(-1)
    if (last && last[0] === bin) last[1] += litres
    else open.recent.push([bin, litres])
    while ((open.recent[0]?.[0] ?? bin) <= bin - PAUSE_MS) open.recent.shift()
    open.peakL = Math.max(
      open.peakL,
      open.recent.reduce((sum, r) => sum + r[1], 0),
    )
    // Each further pull of the trigger puts the clock of recovery back.
    const dip = open.restMgPerL !== null && open.lowest !== null ? open.restMgPerL - open.lowest : 0
    s.waiting = dip >= LEAST_TIMED && !open.broken ? { sinceMs: atMs, rest: open.restMgPerL ?? 0, dip, grade: open.grade } : null
    if (!s.waiting) s.noRecovery = 'the last wash moved oxygen by too little to time its way back'
  })
  return { state: s }
}

export interface DipJudgement {
  /** Dip over the one predicted. */
  readonly ratio: number
  readonly low: number
  readonly high: number
  readonly blocks: readonly Block[]
  readonly dip: number
  readonly predicted: number
  readonly learned: number
}

/** Blocks needed before a prediction is made, and over which a dip is judged. Common practice, no source. */
export const LEAST_LEARNED = 12
const JUDGED_BLOCKS = 3
const JUDGED_L = 2000
/** What is usual: b 0.7 give or take 0.5, c -0.02 give or take 0.05 per degree. Ours, not tuned on data. */
const PRIOR = { b: 0.7, bSpread: 0.5, c: -0.02, cSpread: 0.05, noise: 0.25 } as const

/** The newest blocks (three, or enough for two cubic metres) against what the earlier ones predict. */
export function judgeDips(blocks: readonly Block[]): DipJudgement | string {
  let n = 0
  let litres = 0
  while (n < blocks.length && n < JUDGED_BLOCKS && litres < JUDGED_L) litres += blocks[blocks.length - 1 - n++]?.washedL ?? 0
  const judged = blocks.slice(blocks.length - n)
  const before = blocks.slice(0, blocks.length - n)
  if (before.length < LEAST_LEARNED) return `${before.length} earlier wash blocks are known and ${LEAST_LEARNED} are needed to tell what this loop's dip should be`
  // Learning from the blocks of a dead tank would make its missing dip the normal one.
  const first = fit(before)
  const used = before.filter((b) => b.dipMgPerL > 0.5 * first.predict(b))
  const model = used.length >= LEAST_LEARNED ? fit(used) : first
  const predicted = judged.reduce((sum, b) => sum + model.predict(b), 0)
  const dip = judged.reduce((sum, b) => sum + b.dipMgPerL, 0)
  if (predicted < 0.3 * judged.length) return `a dip of ${(predicted / judged.length).toFixed(1)} mg/L a block is predicted, too little to miss`
  const ratio = dip / predicted
  const reach = Math.exp(Z80 * model.spread * Math.sqrt(1 / judged.length + 3 / used.length))
  return { ratio, low: ratio / reach, high: ratio * reach, blocks: judged, dip, predicted, learned: used.length }
}

interface Model {
  predict(b: Pick<Block, 'peakL' | 'celsius'>): number
  /** Standard deviation of one block in logarithms. */
  readonly spread: number
}

function fit(blocks: readonly Block[]): Model {
  const y = (b: Block): number => Math.log(Math.max(0.05, b.dipMgPerL))
  const x1 = (b: Pick<Block, 'peakL'>): number => Math.log(Math.max(50, b.peakL) / 1000)
  const x2 = (b: Pick<Block, 'celsius'>): number => b.celsius - 15
  const n = blocks.length
  const mean = (of: (b: Block) => number): number => blocks.reduce((sum, b) => sum + of(b), 0) / n
  const [my, m1, m2] = [mean(y), mean(x1), mean(x2)]
  const w = 1 / PRIOR.noise ** 2
  let [s11, s12, s22, s1y, s2y] = [1 / PRIOR.bSpread ** 2, 0, 1 / PRIOR.cSpread ** 2, PRIOR.b / PRIOR.bSpread ** 2, PRIOR.c / PRIOR.cSpread ** 2]
  for (const b of blocks) {
    const [d1, d2, dy] = [x1(b) - m1, x2(b) - m2, y(b) - my]
    s11 += w * d1 * d1
    s12 += w * d1 * d2
    s22 += w * d2 * d2
    s1y += w * d1 * dy
    s2y += w * d2 * dy
  }
  const det = s11 * s22 - s12 * s12
  const b1 = (s1y * s22 - s2y * s12) / det
  const b2 = (s11 * s2y - s12 * s1y) / det
  const left = blocks.reduce((sum, b) => sum + (y(b) - my - b1 * (x1(b) - m1) - b2 * (x2(b) - m2)) ** 2, 0)
  return { predict: (b) => Math.exp(my + b1 * (x1(b) - m1) + b2 * (x2(b) - m2)), spread: Math.max(0.05, Math.sqrt(left / Math.max(1, n - 3))) }
}
