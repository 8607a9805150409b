/** `npm run history export`: readings out of the history, on standard output. */
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { siteOfKey } from '../../site/reading.ts'
import { longCsv } from '../csv/long.ts'
import { wideCsv } from '../csv/wide.ts'
import { FILE_NAME, LATEST_MS } from '../file.ts'
import { linesOf } from '../line-export.ts'
import { openForReading } from '../read-only.ts'
import { HistoryRefused } from '../refused.ts'
import { dataDirOf, timeOption, wordOption, type Command } from './command.ts'

const FORMS = { long: longCsv, wide: wideCsv, lines: linesOf } as const

export const exportCommand: Command = {
  name: 'export',
  args: '[SITE | SITE/SIGNAL ...]',
  summary: 'readings with their quality on standard output, of all signals when none is named; the gateway may run',
  help: `  --form long               CSV, a line for each reading: site, signal, both times, value, quality, reason, qc. This one unless said
  --form wide               CSV, a line for each time, for each signal its figure and its quality. What has no reading stays empty
  --form lines              line protocol, times in ms, as the gateway writes it to InfluxDB
  --from TIME  --to TIME    readings from (inclusive) and to (exclusive), such as 2026-01-15T03:00:00Z

While the gateway runs, a copy of the history is read, as it stands; it needs as much room in the data folder as the history.

  npm run -s history -- export depot --form wide --from 2026-01-01T00:00:00Z > depot.csv`,
  options: { form: { type: 'string' }, from: { type: 'string' }, to: { type: 'string' } },
  async run(shell, { args, options: o }) {
    const [fromMs, toMs] = [timeOption(o, 'from', 0), timeOption(o, 'to', LATEST_MS + 1)]
    if (fromMs >= toMs) throw new HistoryRefused('OPTION', '--from must lie before --to')
    const form = FORMS[wordOption(o, 'form', ['long', 'wide', 'lines']) ?? 'long']
    const dir = dataDirOf(shell, o)
    if (!existsSync(join(dir, FILE_NAME))) throw new HistoryRefused('FOLDER', `there is no history in ${dir}: give its folder with --data DIR`)
    const { history, isCopy, close } = await openForReading(dir, shell.clock)
    try {
      if (isCopy) shell.err.write('the gateway runs: this is a copy of its history as it stood a moment ago\n')
      const keys = chosen(args, history.keys(), dir)
      for await (const piece of form(history, keys, fromMs, toMs)) {
        await shell.out(piece)
        if (shell.interrupted()) return 1
      }
      return 0
    } finally {
      await close()
    }
  },
}

/** Keys named one by one or by their site; all when none is. Throws HistoryRefused for a name that is neither. */
function chosen(names: readonly string[], known: readonly string[], dir: string): readonly string[] {
  if (names.length === 0) return known
  const keys = names.flatMap((name) => {
    const found = known.filter((key) => key === name || (!name.includes('/') && siteOfKey(key) === name))
    if (found.length > 0) return found
    const sites = [...new Set(known.map(siteOfKey))]
    throw new HistoryRefused(
      'FOLDER',
      `${name} is no signal of the history in ${dir}: name them as site/signal, such as ${known[0] ?? 'depot/tu.do'}, or a whole site: ${sites.slice(0, 20).join(', ')}`,
    )
  })
  return [...new Set(keys)]
}
