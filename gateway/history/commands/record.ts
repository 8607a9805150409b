/** `npm run history record`: what the record in InfluxDB keeps, and for how long. */
import { readFileSync } from 'node:fs'
import { readConfig } from '../../config.ts'
import { progressOn } from '../csv/progress.ts'
import { planInflux1 } from '../influx1-setup.ts'
import { planInflux2 } from '../influx2-setup.ts'
import type { RecordSettings } from '../record.ts'
import type { SetupAsked, SetupPlan } from '../record-setup.ts'
import { HistoryRefused } from '../refused.ts'
import { textOption, wordOption, type Command, type Options, type Shell } from './command.ts'

const CONNECTION = ['influx-url', 'influx-database', 'influx-user', 'influx-password-file', 'influx-ca-file', 'influx-token-file', 'influx-org', 'influx-bucket'] as const

export const recordCommand: Command = {
  name: 'record',
  args: '',
  summary: 'how long InfluxDB keeps readings, and whether it makes means of them; with --write sets it. The gateway may run',
  help: `Which InfluxDB: --influx-url and what goes with it, or its environment, as for npm start. Without more it says how things stand.

  --keep-days N             single readings are kept for N days
  --means 10m|1h            means, lowest, highest and numbers of readings over such spans are made, also of what is there already
  --keep-means-days N       ... and kept for N days; for ever unless given
  --write                   does it; without, it is only said what would be done
  --may-delete              allows the steps that delete readings; how many those are is said without it

The steps stand in an order that loses nothing: means are made before the readings they come from may go.

  npm run history -- record --influx-url http://127.0.0.1:8086 --influx-database yards --keep-days 400 --means 1h`,
  options: {
    ...Object.fromEntries(CONNECTION.map((name) => [name, { type: 'string' as const }])),
    'keep-days': { type: 'string' },
    means: { type: 'string' },
    'keep-means-days': { type: 'string' },
    write: { type: 'boolean' },
    'may-delete': { type: 'boolean' },
  },

  async run(shell, { args, options: o }) {
    if (args.length > 0) throw new HistoryRefused('OPTION', `"${args[0]}" was given: record takes only options`)
    const asked: SetupAsked = { keepDays: daysOption(o, 'keep-days'), means: wordOption(o, 'means', ['10m', '1h']), keepMeansDays: daysOption(o, 'keep-means-days') }
    if (asked.keepMeansDays !== null && asked.means === null) throw new HistoryRefused('OPTION', '--keep-means-days was given without --means: say over which span, --means 1h')
    const plan = await planOf(settingsOf(shell, o), asked, shell.clock.nowMs())
    await shell.out(`${plan.name}\n${plan.stands.map((s) => `  ${s}\n`).join('')}`)
    const wanted = asked.keepDays !== null || asked.means !== null
    if (plan.steps.length === 0) {
      if (wanted) await shell.out('everything asked for is so already\n')
      return 0
    }
    const write = o.write === true
    await shell.out(`${write ? 'steps' : 'would'}:\n${plan.steps.map((s, i) => `  ${i + 1}. ${s.what}${s.deletes > 0 ? `: ${s.deletes} older ones are deleted` : ''}\n`).join('')}`)
    const deletes = plan.steps.reduce((sum, s) => sum + s.deletes, 0)
    if (!write) {
      await shell.out(`nothing was changed: --write does it${deletes > 0 ? ', with --may-delete' : ''}\n`)
      return 0
    }
    if (deletes > 0 && o['may-delete'] !== true)
      throw new HistoryRefused('OPTION', `nothing was changed: ${deletes} readings or means would be deleted for good. --may-delete allows it`)
    return perform(shell, plan)
  },
}

async function perform(shell: Shell, plan: SetupPlan): Promise<number> {
  const bar = progressOn(shell.err, () => shell.clock.steadyMs())
  for (const [i, step] of plan.steps.entries()) {
    try {
      await step.run((done, all) => bar.show(done, all, step.what))
    } catch (e) {
      bar.end()
      if (e instanceof HistoryRefused) throw new HistoryRefused(e.code, `step ${i + 1} failed, those before it are done: ${e.message}`, e)
      throw e
    }
    bar.end()
    await shell.out(`done: ${step.what}\n`)
  }
  return 0
}

/** The settings of InfluxDB as npm start reads them. */
function settingsOf(shell: Shell, o: Options): RecordSettings {
  const flags = CONNECTION.flatMap((name) => {
    const v = textOption(o, name)
    return v === null ? [] : [`--${name}=${v}`]
  })
  const read = readConfig(flags, Object.fromEntries(Object.entries(shell.env).filter(([name]) => name.startsWith('LOOPKEEPER_INFLUX_'))))
  if (!read.ok) throw new HistoryRefused('OPTION', read.message)
  if (read.config.influx === null)
    throw new HistoryRefused(
      'OPTION',
      'which InfluxDB? Give --influx-url and --influx-database (1.x), or --influx-url, --influx-org, --influx-bucket and --influx-token-file (2.x)',
    )
  return read.config.influx
}

function planOf(s: RecordSettings, asked: SetupAsked, nowMs: number): Promise<SetupPlan> {
  if (s.database === null) return planInflux2({ url: s.url, org: s.org ?? '', bucket: s.bucket ?? '', token: firstLine(s.tokenFile, '--influx-token-file') ?? '' }, asked, nowMs)
  const ca = s.caFile === null ? null : whole(s.caFile, '--influx-ca-file')
  return planInflux1({ url: s.url, database: s.database, user: s.user, password: firstLine(s.passwordFile, '--influx-password-file'), ca }, asked, nowMs)
}

const firstLine = (file: string | null, flag: string): string | null => (file === null ? null : (whole(file, flag).split('\n')[0] ?? '').trim())

function whole(file: string, flag: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch (e) {
    throw new HistoryRefused('FOLDER', `${flag} ${file} cannot be read: ${e instanceof Error ? e.message : String(e)}`, e)
  }
}

function daysOption(o: Options, name: string): number | null {
  const v = textOption(o, name)
  if (v === null) return null
  if (!/^[1-9]\d{0,4}$/.test(v)) throw new HistoryRefused('OPTION', `--${name} is "${v}": a whole number of days from 1 is needed`)
  return Number(v)
}
