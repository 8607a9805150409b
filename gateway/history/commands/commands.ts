/** The commands of `npm run history`, and how they are found and helped with. */
import { HistoryRefused } from '../refused.ts'
import { parse, type Command, type Shell } from './command.ts'
import { exportCommand } from './export.ts'
import { importCommand } from './import.ts'
import { recordCommand } from './record.ts'
import { repairCommand } from './repair.ts'
import { backupCommand, checkCommand, parkedCommand, restoreCommand } from './keep.ts'

const COMMANDS: readonly Command[] = [checkCommand, repairCommand, backupCommand, restoreCommand, importCommand, exportCommand, recordCommand, parkedCommand]

export function usage(): string {
  const width = Math.max(...COMMANDS.map((c) => c.name.length + c.args.length))
  const lines = COMMANDS.map((c) => `  ${`${c.name} ${c.args}`.padEnd(width + 2)} ${c.summary}`)
  return `npm run history -- COMMAND [--data DIR]\n\n${lines.join('\n')}\n\nCOMMAND --help says more of one. --data DIR is the data folder; LOOPKEEPER_DATA or "data" unless given.\n`
}

/** Runs the command `argv` names; gives the exit code. */
export async function runHistory(shell: Shell, argv: readonly string[]): Promise<number> {
  const [name, ...rest] = argv
  if (name === '--help' || name === 'help') {
    await shell.out(usage())
    return 0
  }
  const command = COMMANDS.find((c) => c.name === name)
  if (!command) {
    shell.err.write(`${name === undefined ? '' : `"${name}" is no command.\n`}${usage()}`)
    return 2
  }
  try {
    const given = parse(command, rest)
    if (given.options.help === true) {
      await shell.out(`npm run history -- ${command.name} ${command.args}\n${command.summary}\n\n${command.help}\n`)
      return 0
    }
    return await command.run(shell, given)
  } catch (e) {
    if (!(e instanceof HistoryRefused)) {
      // A folder given for a file, a file that may not be read: a sentence, not a trace.
      const code = e instanceof Error && 'code' in e ? String(e.code) : ''
      if (!/^(E[A-Z]+|SQLITE_\w+)$/.test(code)) throw e
      shell.err.write(`${command.name} failed: ${(e as Error).message}: look at the file or folder given\n`)
      return 1
    }
    shell.err.write(`${e.message}\n`)
    return e.code === 'OPTION' ? 2 : 1
  }
}
