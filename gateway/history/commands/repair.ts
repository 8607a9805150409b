/** `npm run history repair`: a damaged history made whole, as far as it can be read. */
import { repair } from '../repair.ts'
import { HistoryRefused } from '../refused.ts'
import type { Loss } from '../salvage.ts'
import { dataDirOf, type Command } from './command.ts'

const SHOWN = 50

export const repairCommand: Command = {
  name: 'repair',
  args: '',
  summary: 'says what of a damaged history can be kept, and with --write keeps it. The gateway must not run',
  help: `Without --write nothing is changed. With it, all that can be read goes into a new file, which is checked and takes the place of the
damaged one; that one stays beside it as history-before-repair.db until you delete it. It needs as much room again as the history.
Lost blocks keep their bytes in the new file (table "damaged"). InfluxDB gets everything again, which changes nothing there.
A backup from before the damage may hold what is lost here: look at its age first. Exit code 1: something is lost.`,
  options: { write: { type: 'boolean' } },
  async run(shell, { args, options }) {
    if (args.length > 0) throw new HistoryRefused('OPTION', `"${args[0]}" was given: repair takes no file, only --data DIR and --write`)
    const write = options.write === true
    const r = await repair(dataDirOf(shell, options), shell.clock, write)
    for (const l of r.losses.slice(0, SHOWN)) shell.err.write(`${l.where}: ${l.what}${l.readings === null || l.readings === 0 ? '' : ` (${l.readings} readings)`}\n`)
    if (r.losses.length > SHOWN) shell.err.write(`... and ${r.losses.length - SHOWN} more\n`)
    await shell.out(`${r.readings} readings of ${r.signals} signals ${write ? 'kept' : 'can be kept'}, ${lostText(r.losses)}\n`)
    if (r.aside !== null) await shell.out(`the new file passed the check (${r.check?.blocks ?? 0} blocks); the damaged one is ${r.aside} in the same folder\n`)
    else await shell.out(r.losses.length > 0 ? 'nothing was changed: --write does it\n' : 'nothing was changed\n')
    return r.losses.length > 0 ? 1 : 0
  },
}

function lostText(losses: readonly Loss[]): string {
  if (losses.length === 0) return 'nothing is lost'
  const counted = losses.reduce((sum, l) => sum + (l.readings ?? 0), 0)
  const unknown = losses.filter((l) => l.readings === null).length
  return `${counted} lost${unknown > 0 ? `, and ${unknown} parts of the file of which nobody can say how many they held` : ''}`
}
