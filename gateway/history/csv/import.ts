/**
 * Rows of a CSV file past the same checks as live readings, into a history. Nothing of it is news: every reading is older than now by
 * definition, so none is told to the alarm rules. Readings are judged in order of time within a batch of rows; a batch that is
 * written is written whole.
 *
 * A file without received times says nothing about when its readings came. Their source time stands for it, so that an import never
 * makes a silent site look heard.
 */
import { placeWall } from '../../intake/payload-wall.ts'
import { judge } from '../../intake/checks.ts'
import { NUMBER, type RawReading } from '../../intake/payload.ts'
import type { WallTime } from '../../intake/payload-time.ts'
import type { Quality, Reading } from '../../site/reading.ts'
import { LATEST_MS } from '../file.ts'
import type { AppendResult } from '../history.ts'
import type { ImportAsked, ImportPlan, Series } from './plan.ts'
import type { CsvRow } from './rows.ts'
import { newSeriesTally, newTally } from './tally.ts'
import { timeOfCell } from './times.ts'

export interface ImportTarget {
  /** Told before the readings of a key are committed. */
  markImported?(key: string, untilMs: number): void
  /** Throws when it cannot take them. */
  commit(batch: readonly Reading[]): AppendResult
}

const FAULTS_SHOWN = 20
const NAMES_KEPT = 200
/** Furthest a time may lie ahead of ours, as on the live path. */
const AHEAD_MS = 120_000
/** Rows in the doubled hour are placed together, up to so many. */
const MOST_WAITING = 100_000

interface Entry {
  readonly line: number
  readonly series: Series
  at: number | WallTime
  readonly value: number | boolean | null
  readonly quality: Quality | null
  readonly received: number | null
}

export class CsvImport {
  private readonly plan: ImportPlan
  private readonly asked: ImportAsked
  private readonly nowMs: number
  private waiting: Entry[] = []
  private readonly lastWallMs = new Map<Series | null, number>()
  readonly tally = newTally()

  constructor(plan: ImportPlan, asked: ImportAsked, nowMs: number) {
    this.plan = plan
    this.asked = asked
    this.nowMs = nowMs
  }

  get waitingReadings(): number {
    return this.waiting.length
  }

  /** Reads a row; what is in it waits for `judged`. */
  take(row: CsvRow): void {
    this.tally.rows++
    const { plan, asked } = this
    const at = timeOfCell(row.cells[plan.time] ?? '', asked.times)
    if (typeof at === 'object' && 'fault' in at) return this.refuse(row.line, at.fault)
    const received = plan.received === null ? null : timeOfCell(row.cells[plan.received] ?? '', asked.times)
    const receivedMs = typeof received === 'number' && received >= 0 && received <= LATEST_MS ? received : null
    if (plan.form === 'wide') {
      for (const c of plan.wide) this.cell(row, at, receivedMs, c.series, row.cells[c.value] ?? '', c.quality === null ? '' : (row.cells[c.quality] ?? ''))
      return
    }
    const { long } = plan
    const own = row.cells[long.signal] ?? ''
    const site = long.site === null ? '' : (row.cells[long.site] ?? '')
    const name = site === '' ? own : `${site}/${own}`
    const series = plan.seriesOf(name, long.unit === null ? '' : (row.cells[long.unit] ?? ''))
    if (series) return this.cell(row, at, receivedMs, series, row.cells[long.value] ?? '', long.quality === null ? '' : (row.cells[long.quality] ?? ''))
    const { left } = this.tally
    if (left.has(name) || left.size < NAMES_KEPT) left.set(name, (left.get(name) ?? 0) + 1)
  }

  /** May what waits be judged now? Not while the last row may still turn out to be the other one of a doubled hour. */
  mayJudge(): boolean {
    const last = this.waiting.at(-1)
    if (!last || typeof last.at === 'number' || this.waiting.length > MOST_WAITING) return true
    return placeWall([last.at.wallMs], this.asked.zone, null, this.nowMs).doubled === 0
  }

  /** Judges all that waits, in order of time; gives the readings by series. */
  judged(): ReadonlyMap<Series, Reading[]> {
    const entries = this.waiting
    this.waiting = []
    this.place(entries)
    entries.sort((a, b) => (a.at as number) - (b.at as number))
    const out = new Map<Series, Reading[]>()
    for (const e of entries) {
      const reading = this.judgeOne(e, e.at as number)
      if (!reading) continue
      const list = out.get(e.series)
      if (list) list.push(reading)
      else out.set(e.series, [reading])
    }
    return out
  }

  /** Writes judged readings and counts what became of them. */
  write(judged: ReadonlyMap<Series, Reading[]>, target: ImportTarget): void {
    for (const [series, readings] of judged) {
      const { key } = series.track.spec
      target.markImported?.(key, readings.at(-1)?.sourceMs ?? 0)
      const result = target.commit(readings)
      let t = this.tally.series.get(key)
      if (!t) this.tally.series.set(key, (t = newSeriesTally()))
      t.stored += result.stored
      t.duplicate += result.duplicate
      t.differing += result.conflict
      for (const r of readings) {
        t[r.quality]++
        t.firstMs = Math.min(t.firstMs, r.sourceMs)
        t.lastMs = Math.max(t.lastMs, r.sourceMs)
        if (r.value === null) continue
        t.min = Math.min(t.min, r.value)
        t.max = Math.max(t.max, r.value)
      }
    }
  }

  private refuse(line: number, what: string): void {
    this.tally.refused++
    if (this.tally.faults.length < FAULTS_SHOWN) this.tally.faults.push({ line, what })
  }

  private cell(row: CsvRow, at: number | WallTime, received: number | null, series: Series, text: string, said: string): void {
    const quality = said === '' ? null : said.toLowerCase()
    if (quality !== null && quality !== 'good' && quality !== 'uncertain' && quality !== 'bad')
      return this.refuse(row.line, `${series.name}: the quality is "${said.slice(0, 40)}": good, uncertain or bad is needed`)
    const isEmpty = text === '' || this.asked.missing.includes(text)
    // A quality without a figure is a reading: the instrument said that it had none.
    if (isEmpty && quality === null) return void this.tally.empty++
    const value = isEmpty ? null : valueOf(text, this.asked.decimalComma)
    if (value === undefined) {
      const comma = /^[+-]?\d+,\d+$/.test(text) ? 'say --decimal comma when the figures are written so' : `say --missing "${text.slice(0, 20)}" when it stands for no reading`
      return this.refuse(row.line, `${series.name}: "${text.slice(0, 40)}" is no figure: ${comma}`)
    }
    this.waiting.push({ line: row.line, series, at, value, quality, received })
  }

  /** Wall times become instants: rows of a wide file together, those of a long one by signal, because it may be sorted by signal. */
  private place(entries: readonly Entry[]): void {
    const groups = new Map<Series | null, Entry[]>()
    for (const e of entries) {
      if (typeof e.at === 'number') continue
      const group = this.plan.form === 'wide' ? null : e.series
      const list = groups.get(group)
      if (list) list.push(e)
      else groups.set(group, [e])
    }
    for (const [group, list] of groups) {
      const rows: WallTime[] = []
      for (const e of list) if (e.at !== rows.at(-1)) rows.push(e.at as WallTime)
      const placed = placeWall(
        rows.map((r) => r.wallMs),
        this.asked.zone,
        this.lastWallMs.get(group) ?? null,
        this.nowMs,
      )
      const atOf = new Map(rows.map((r, i) => [r, placed.atMs[i] ?? 0]))
      for (const e of list) e.at = atOf.get(e.at as WallTime) ?? 0
      this.lastWallMs.set(group, placed.atMs.at(-1) ?? 0)
      this.tally.doubled += placed.doubled
      this.tally.missing += placed.missing
    }
  }

  private judgeOne(e: Entry, sourceMs: number): Reading | null {
    if (sourceMs > this.nowMs + AHEAD_MS || sourceMs < 0) {
      const why = sourceMs < 0 ? 'lies before 1970' : 'lies in the future: is the zone right?'
      this.refuse(e.line, `${e.series.name}: ${new Date(sourceMs).toISOString()} ${why}`)
      return null
    }
    const { track, unit } = e.series
    const raw: RawReading = { signal: e.series.name, value: e.value, quality: e.quality, sentMs: sourceMs, ...(unit !== null && { unit }) }
    const receivedMs = e.received ?? sourceMs
    const j = judge(track.state, raw, { sourceMs, clock: 'ok', backlog: true }, track.spec, { receivedMs, retained: false })
    if (!j.ok) {
      this.refuse(e.line, j.detail)
      return null
    }
    track.state = j.state
    return j.reading
  }
}

function valueOf(text: string, decimalComma: boolean): number | boolean | undefined {
  if (text === 'true' || text === 'false') return text === 'true'
  const plain = decimalComma ? text.replace(',', '.') : text
  if (!NUMBER.test(plain)) return undefined
  const n = Number(plain) + 0
  return Number.isFinite(n) ? n : undefined
}
