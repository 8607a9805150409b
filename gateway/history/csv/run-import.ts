/** One file into the history of a folder: opens it, asks for what is missing, reads, writes, and keeps the mark. */
import { closeSync, createReadStream, existsSync, openSync, readSync, statSync } from 'node:fs'
import { join } from 'node:path'
import type { Clock } from '../../clock.ts'
import { siteOfKey } from '../../site/reading.ts'
import type { Site } from '../../site/site.ts'
import { openPastFiles } from '../../vitals-past-files.ts'
import { openEmbedded, type EmbeddedHistory } from '../embedded.ts'
import { FILE_NAME } from '../file.ts'
import { HistoryRefused } from '../refused.ts'
import { openDryRun } from './dry-run.ts'
import { CsvImport } from './import.ts'
import { markOf, type ImportMark } from './import-mark.ts'
import { planImport, type ImportAsked, type ImportPlan } from './plan.ts'
import type { Progress } from './progress.ts'
import { cellsOf, csvRows, separatorOf } from './rows.ts'
import type { ImportTally } from './tally.ts'
import { timeOfCell } from './times.ts'

export interface ImportRun {
  readonly file: string
  readonly dataDir: string
  readonly sites: ReadonlyMap<string, Site>
  readonly asked: ImportAsked
  /** null: found out from the header. */
  readonly separator: string | null
  /** From 1; lines before it are left out. */
  readonly headerLine: number
  readonly dry: boolean
  /** Do not go on from an earlier run. */
  readonly fromStart: boolean
  readonly clock: Clock
  readonly progress: Progress
  readonly interrupted: () => boolean
  /** Readings of a batch; 20,000 unless said. */
  readonly batch?: number
}

export interface ImportEnd {
  readonly tally: ImportTally
  readonly plan: ImportPlan
  /** Rows an earlier run had written; 0: none. */
  readonly resumedAfter: number
  /** A person stopped it. */
  readonly stopped: boolean
  /** Dry run: the history is in use, so what it holds was not compared. */
  readonly blind: boolean
}

const BATCH = 20_000
const HEAD_BYTES = 262_144
/** Small imports leave sealing to the next start of the gateway. */
const SEAL_FROM = 2_000_000

/** Throws HistoryRefused: the file cannot be read, the history cannot be opened, or something has to be said first. */
export async function runImport(run: ImportRun): Promise<ImportEnd> {
  const { file, asked, clock, dry } = run
  const head = readHead(file, run.headerLine)
  const separator = run.separator ?? separatorOf(head.header)
  const planned = planImport(cellsOf(head.header, separator), asked, run.sites)
  const questions = planned.ok ? firstTime(planned.plan, head.next, separator, asked) : planned.questions
  if (!planned.ok || questions.length > 0) throw new HistoryRefused('OPTION', questions.join('\n'))
  const { plan } = planned
  const importer = new CsvImport(plan, asked, clock.nowMs())
  const mark = dry ? null : markOf(run.dataDir, file, head.bytes, [asked, run.separator, run.headerLine])
  const earlier = mark && !run.fromStart ? mark.read() : null
  const { store, blind } = openStore(run.dataDir, clock, dry)
  const scratch = dry ? openDryRun(store, clock) : null
  const pasts = openPastFiles(join(run.dataDir, 'vitals'))
  const toLookAt = new Set<string>()
  let resumed = earlier !== null
  let stopped = false

  const settle = async (): Promise<void> => {
    const judged = importer.judged()
    const { tally } = importer
    if (earlier && resumed) {
      importer.write(judged, { commit: () => ({ stored: 0, duplicate: 0, conflict: 0 }) })
      if (tally.rows < earlier.rows) return
      resumed = false
      restore(tally, earlier)
      return
    }
    if (scratch) {
      const results = new Map<unknown, Awaited<ReturnType<typeof scratch.commit>>>()
      for (const [, readings] of judged) results.set(readings, await scratch.commit(readings))
      importer.write(judged, { commit: (readings) => results.get(readings) ?? { stored: 0, duplicate: 0, conflict: 0 } })
    } else if (store) {
      // Before they are written, so that a killed import leaves none that vitals would never go through.
      for (const { track } of judged.keys()) {
        const site = siteOfKey(track.spec.key)
        if (!toLookAt.has(site)) pasts.remove(site)
        toLookAt.add(site)
      }
      importer.write(judged, store)
      mark?.write({ rows: tally.rows, counts: Object.fromEntries(tally.series) })
      while (store.stats().unsealed > SEAL_FROM && store.sealStep(50));
    }
  }

  try {
    const stream = createReadStream(file, { encoding: 'utf8', highWaterMark: 262_144 })
    let skipped = false
    reading: for await (const rows of csvRows(stream, separator)) {
      for (const row of rows) {
        // The header itself, and what stands above it.
        if (!skipped && row.line <= run.headerLine) continue
        skipped = true
        importer.take(row)
        if (importer.waitingReadings < (run.batch ?? BATCH) || !importer.mayJudge()) continue
        await settle()
        run.progress.show(stream.bytesRead, head.bytes, `${importer.tally.rows} rows`)
        stopped = run.interrupted()
        if (stopped) break reading
      }
    }
    if (!stopped) {
      await settle()
      run.progress.show(head.bytes, head.bytes, `${importer.tally.rows} rows`)
      mark?.remove()
    }
  } finally {
    run.progress.end()
    await scratch?.close()
    await store?.close()
  }
  return { tally: importer.tally, plan, resumedAfter: earlier?.rows ?? 0, stopped, blind }
}

/** What an earlier run had counted takes the place of the nothing that was counted on the way here. */
function restore(tally: ImportTally, mark: ImportMark): void {
  for (const [key, was] of Object.entries(mark.counts)) {
    const t = tally.series.get(key)
    if (t) Object.assign(t, { stored: was.stored, duplicate: was.duplicate, differing: was.differing })
  }
}

function openStore(dir: string, clock: Clock, dry: boolean): { store: EmbeddedHistory | null; blind: boolean } {
  if (dry && !existsSync(join(dir, FILE_NAME))) return { store: null, blind: false }
  try {
    return { store: openEmbedded({ dir, clock, synchronous: 'full', sealAtReadings: SEAL_FROM }), blind: false }
  } catch (e) {
    if (dry && e instanceof HistoryRefused && e.code === 'IN_USE') return { store: null, blind: true }
    throw e
  }
}

interface Head {
  readonly bytes: number
  readonly header: string
  /** The first line below it; empty: none. */
  readonly next: string
}

function readHead(file: string, headerLine: number): Head {
  let fd: number
  try {
    fd = openSync(file, 'r')
  } catch (e) {
    throw new HistoryRefused('FILE', `${file} cannot be read: ${e instanceof Error ? e.message : String(e)}`, e)
  }
  try {
    const buffer = Buffer.alloc(HEAD_BYTES)
    const bytes = buffer.subarray(0, readSync(fd, buffer, 0, HEAD_BYTES, 0))
    if (bytes.includes(0)) throw new HistoryRefused('FILE', `${file} is no UTF-8 text: save it as "CSV UTF-8" first`)
    const lines = bytes
      .toString('utf8')
      .replace(/^\u{feff}/u, '')
      .split(/\r?\n/)
    const header = lines[headerLine - 1] ?? ''
    if (header.trim() === '')
      throw new HistoryRefused('FILE', `${file} has no header on line ${headerLine}: the first line names the columns; --header-line N says which line it is`)
    return { bytes: statSync(file).size, header, next: lines.slice(headerLine).find((l) => l !== '') ?? '' }
  } finally {
    closeSync(fd)
  }
}

/** Questions the first time of the file raises. */
function firstTime(plan: ImportPlan, line: string, separator: string, asked: ImportAsked): readonly string[] {
  const cell = cellsOf(line, separator)[plan.time]
  if (cell === undefined || cell === '') return []
  const read = timeOfCell(cell, asked.times)
  return typeof read === 'object' && 'fault' in read && read.ask ? [`The first time of the file: ${read.fault}`] : []
}
