/** `npm run history export`: readings out of the history, on standard output. */
import { csvOf, CSV_HEAD } from '../csv/long.ts'
import { openEmbedded } from '../embedded.ts'
import { LATEST_MS } from '../file.ts'
import { HistoryRefused } from '../refused.ts'
import { dataDirOf, timeOption, type Command } from './command.ts'

export const exportCommand: Command = {
  name: 'export',
  args: '[SITE/SIGNAL...]',
  summary: 'CSV on standard output, all signals when none is named. The gateway must not run',
  help: `  --from TIME  --to TIME   readings from (inclusive) and to (exclusive), such as 2026-01-15T03:00:00Z`,
  options: { from: { type: 'string' }, to: { type: 'string' } },
  async run(shell, { args: keys, options: o }) {
    const [fromMs, toMs] = [timeOption(o, 'from', 0), timeOption(o, 'to', LATEST_MS + 1)]
    const dir = dataDirOf(shell, o)
    const store = openEmbedded({ dir, clock: shell.clock })
    try {
      const known = store.keys()
      const unknown = keys.find((key) => !known.includes(key))
      if (unknown !== undefined)
        throw new HistoryRefused('FOLDER', `${unknown} is no signal of the history in ${dir}: name them as site/signal, such as ${known[0] ?? 'depot/tu.do'}`)
      await shell.out(CSV_HEAD)
      for await (const piece of csvOf(store, keys.length > 0 ? keys : known, fromMs, toMs)) await shell.out(piece)
    } finally {
      await store.close()
    }
    return 0
  },
}
