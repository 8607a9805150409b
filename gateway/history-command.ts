/**
 * `npm run history <command>`: looks after the embedded history. `--data DIR` says whose.
 *
 *   check                                    reads every reading; exit code 1 if anything is damaged. The gateway must not run
 *   backup FILE                              copies it into one file; the gateway may run
 *   restore FILE                             puts a backup in place where there is no history, and checks it
 *   export KEY... [--from TIME] [--to TIME]  CSV on standard output, all signals when none is named. The gateway must not run
 *   parked                                   readings InfluxDB refused, with its reasons
 */
import Database from 'better-sqlite3'
import { once } from 'node:events'
import { join } from 'node:path'
import { backupOf, restoreTo } from './history/backup.ts'
import { CSV_HEAD, csvOf } from './history/csv.ts'
import { openEmbedded } from './history/embedded.ts'
import { FILE_NAME, LATEST_MS } from './history/file.ts'
import { HistoryRefused } from './history/refused.ts'
import type { CheckResult } from './history/upkeep.ts'

const USAGE = 'npm run history check | backup FILE | restore FILE | export [KEY...] [--from TIME] [--to TIME] | parked  -- [--data DIR]'
const clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }

const args = process.argv.slice(2)
const option = (name: string): string | undefined => {
  const at = args.indexOf(name)
  return at >= 0 ? args.splice(at, 2)[1] : undefined
}
const dir = option('--data') ?? process.env.LOOPKEEPER_DATA ?? 'data'
const [from, to] = [option('--from'), option('--to')]
process.exitCode = await main(args).catch((e: unknown) => {
  if (!(e instanceof HistoryRefused)) throw e
  console.error(e.message)
  return 1
})

async function main([command, ...rest]: readonly string[]): Promise<number> {
  const [file] = rest
  if (command === 'check' && rest.length === 0) {
    const store = openEmbedded({ dir, clock })
    try {
      return report(await store.check())
    } finally {
      await store.close()
    }
  }
  if (command === 'backup' && file !== undefined) {
    await backupOf(dir, file)
    console.log(`${file} holds the history of ${dir} as it stood`)
    return 0
  }
  if (command === 'restore' && file !== undefined) return report(await restoreTo(dir, file, clock))
  if (command === 'export') return exportCsv(rest)
  if (command === 'parked') return parked()
  console.error(USAGE)
  return 2
}

function report(found: CheckResult): number {
  for (const f of found.faults) console.error(`${f.where}: ${f.what}`)
  console.log(`${found.readings} readings in ${found.blocks} blocks, ${found.inboxRows} inbox rows, ${found.faultCount} faults`)
  return found.faultCount > 0 ? 1 : 0
}

async function exportCsv(keys: readonly string[]): Promise<number> {
  const [fromMs, toMs] = [timeOf('--from', from, 0), timeOf('--to', to, LATEST_MS + 1)]
  const store = openEmbedded({ dir, clock })
  try {
    const known = store.keys()
    const unknown = keys.find((key) => !known.includes(key))
    if (unknown !== undefined)
      throw new HistoryRefused('FOLDER', `${unknown} is no signal of the history in ${dir}: name them as site/signal, such as ${known[0] ?? 'depot/tu.do'}`)
    process.stdout.write(CSV_HEAD)
    // A slow reader of our output is waited for.
    for await (const piece of csvOf(store, keys.length > 0 ? keys : known, fromMs, toMs)) if (!process.stdout.write(piece)) await once(process.stdout, 'drain')
  } finally {
    await store.close()
  }
  return 0
}

function timeOf(flag: string, text: string | undefined, otherwise: number): number {
  if (text === undefined) return otherwise
  const ms = /Z$|[+-]\d\d:\d\d$/.test(text) ? Date.parse(text) : Number.NaN
  if (!Number.isFinite(ms)) throw new HistoryRefused('FOLDER', `${flag} is "${text}": a time with its zone is needed, such as 2026-01-15T03:00:00Z`)
  return ms
}

function parked(): number {
  const db = new Database(join(dir, FILE_NAME), { readonly: true, fileMustExist: true })
  try {
    const all = db.prepare<[], { line: string; reason: string }>('SELECT line, reason FROM parked ORDER BY at_ms, line').all()
    for (const p of all) console.log(`${p.line.trim()}\n  ${p.reason}`)
    console.log(`${all.length} parked`)
    return 0
  } finally {
    db.close()
  }
}
