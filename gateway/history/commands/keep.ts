/** `npm run history check`, `backup`, `restore` and `parked`: is it whole, a copy of it, the way back, and what the record refused. */
import Database from 'better-sqlite3'
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { backupOf, restoreTo } from '../backup.ts'
import { openEmbedded } from '../embedded.ts'
import { FILE_NAME } from '../file.ts'
import { HistoryRefused, refusedBy } from '../refused.ts'
import type { CheckResult } from '../upkeep.ts'
import { dataDirOf, type Command, type Shell } from './command.ts'

export const checkCommand: Command = {
  name: 'check',
  args: '',
  summary: 'reads every reading; exit code 1 if anything is damaged. The gateway must not run',
  help: 'Every block is unpacked and compared with its checksum and with the figures beside it, every inbox row is read. Nothing is changed.',
  options: {},
  async run(shell, { args, options }) {
    if (args.length > 0) throw new HistoryRefused('OPTION', `"${args[0]}" was given: check takes no file, only --data DIR`)
    const dir = dataDirOf(shell, options)
    mustHold(dir)
    const store = openEmbedded({ dir, clock: shell.clock })
    try {
      return await report(shell, await store.check())
    } finally {
      await store.close()
    }
  },
}

export const backupCommand: Command = {
  name: 'backup',
  args: 'FILE',
  summary: 'copies the history into one file; the gateway may run',
  help: 'The copy holds everything committed before the command began, and is a history itself: put it in place with restore.',
  options: {},
  async run(shell, { args, options }) {
    const dir = dataDirOf(shell, options)
    const file = oneFile('backup', args)
    await backupOf(dir, file)
    await shell.out(`${file} holds the history of ${dir} as it stood\n`)
    return 0
  },
}

export const restoreCommand: Command = {
  name: 'restore',
  args: 'FILE',
  summary: 'puts a backup in place where there is no history, and checks it',
  help: 'The gateway must not run. Nothing is ever written over: move an existing history.db away first.',
  options: {},
  async run(shell, { args, options }) {
    return report(shell, await restoreTo(dataDirOf(shell, options), oneFile('restore', args), shell.clock))
  },
}

export const parkedCommand: Command = {
  name: 'parked',
  args: '',
  summary: 'readings InfluxDB refused, with its reasons',
  help: 'They stay in the embedded history as well; here is only what InfluxDB said of them.',
  options: {},
  async run(shell, { options }) {
    const dir = dataDirOf(shell, options)
    mustHold(dir)
    const db = new Database(join(dir, FILE_NAME), { readonly: true, fileMustExist: true })
    try {
      const all = db.prepare<[], { line: string; reason: string }>('SELECT line, reason FROM parked ORDER BY at_ms, line').all()
      for (const p of all) await shell.out(`${p.line.trim()}\n  ${p.reason}\n`)
      await shell.out(`${all.length} parked\n`)
      return 0
    } catch (e) {
      throw refusedBy(e, `${join(dir, FILE_NAME)} cannot be read`)
    } finally {
      db.close()
    }
  },
}

/** A folder without a history is a mistyped one: looking at it must not make one. */
function mustHold(dir: string): void {
  if (!existsSync(join(dir, FILE_NAME))) throw new HistoryRefused('FOLDER', `there is no history in ${dir}: give its folder with --data DIR`)
}

async function report(shell: Shell, found: CheckResult): Promise<number> {
  for (const f of found.faults) shell.err.write(`${f.where}: ${f.what}\n`)
  if (found.faultCount > found.faults.length) shell.err.write(`... and ${found.faultCount - found.faults.length} more\n`)
  await shell.out(`${found.readings} readings in ${found.blocks} blocks, ${found.inboxRows} inbox rows, ${found.faultCount} faults\n`)
  return found.faultCount > 0 ? 1 : 0
}

function oneFile(command: string, args: readonly string[]): string {
  const [file, more] = args
  if (file === undefined || more !== undefined) throw new HistoryRefused('OPTION', `one file is needed: npm run history ${command} FILE`)
  return file
}
