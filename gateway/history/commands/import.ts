/** `npm run history import`: readings of a CSV file into the history. */
import { join } from 'node:path'
import { readSiteFolder } from '../../site-folder.ts'
import { faultText } from '../../site/site-file.ts'
import type { ImportAsked, Take } from '../csv/plan.ts'
import { progressOn } from '../csv/progress.ts'
import { importReport } from '../csv/report.ts'
import { runImport } from '../csv/run-import.ts'
import { zoneOption } from '../csv/times.ts'
import { HistoryRefused } from '../refused.ts'
import { dataDirOf, textOption, textsOption, wordOption, type Command, type Options } from './command.ts'

export const importCommand: Command = {
  name: 'import',
  args: 'FILE',
  summary: 'takes readings from a CSV file, past the same checks as live ones; no alarm is raised. The gateway must not run',
  help: `The file is read in wide form (a row has a time and a column for each signal) or long form (a row has a time, the name of a signal
and its figure). Columns called time, timestamp, datetime or date, signal, value, site, quality, unit and received_time are found by
themselves. What the file does not say has to be said here:

  --take "NAME as SIGNAL in UNIT"   a column (wide) or name (long) of the file, the signal it is, and its unit as a UCUM code, which is
                                    turned into that of the site file; once for each. A signal of another site: SITE/SIGNAL
  --units site                      instead: columns and names are signals already, and every figure is in the unit of its site file
  --zone ZONE                       what times without a zone mean: UTC, +01:00 (the same all year), or Europe/Lisbon (the wall clock there)
  --dates dmy|mdy                   which of 03/04/2026 comes first, day or month
  --times-in s|ms                   times are numbers that count from 1970 UTC

  --site SITE                       whose signals, where they are named without their site
  --sites DIR                       folder of the site files; "sites" in the data folder unless given
  --dry-run                         says what would be done, and writes nothing
  --from-start                      does not go on where an earlier import of this file was stopped
  --form wide|long                  when the header does not tell
  --time-column NAME  --signal-column NAME  --value-column NAME  --quality-column NAME  --site-column NAME
  --missing TEXT                    a text that stands for no reading, besides an empty cell; once for each
  --decimal comma                   7,25 is a figure; --separator ";" when the header does not tell
  --header-line N                   the line that names the columns, when there is something above it

A reading held already is counted as repeated; one of the same time with another value is kept beside the first as a correction.
Stopped or killed, the same command goes on where it was. Exit code 1: something of the file was refused, or it was stopped.

  npm run history -- import tanks.csv --site depot --zone Europe/Lisbon --take "DO 1 as bio1.do in mg/L" --take "Temp 1 as bio1.temp in [degF]" --dry-run`,
  options: {
    take: { type: 'string', multiple: true },
    units: { type: 'string' },
    zone: { type: 'string' },
    dates: { type: 'string' },
    'times-in': { type: 'string' },
    site: { type: 'string' },
    sites: { type: 'string' },
    'dry-run': { type: 'boolean' },
    'from-start': { type: 'boolean' },
    form: { type: 'string' },
    'time-column': { type: 'string' },
    'signal-column': { type: 'string' },
    'value-column': { type: 'string' },
    'quality-column': { type: 'string' },
    'site-column': { type: 'string' },
    missing: { type: 'string', multiple: true },
    decimal: { type: 'string' },
    separator: { type: 'string' },
    'header-line': { type: 'string' },
  },

  async run(shell, { args, options: o }) {
    const file = args[0]
    if (file === undefined || args.length > 1) throw new HistoryRefused('OPTION', 'one file is needed: npm run history -- import FILE; --help shows the options')
    const dataDir = dataDirOf(shell, o)
    const sitesDir = textOption(o, 'sites') ?? shell.env.LOOPKEEPER_SITES ?? join(dataDir, 'sites')
    const folder = readSiteFolder(sitesDir)
    for (const f of folder.faults) shell.err.write(`${faultText(f)}\n`)
    if (folder.sites.size === 0)
      throw new HistoryRefused('FOLDER', `no site file can be used in ${sitesDir}, and readings belong to the signals of a site file: give their folder with --sites DIR`)
    const dry = o['dry-run'] === true
    const end = await runImport({
      file,
      dataDir,
      sites: folder.sites,
      asked: askedOf(o),
      separator: separatorOption(o),
      headerLine: wholeOption(o, 'header-line', 1),
      dry,
      fromStart: o['from-start'] === true,
      clock: shell.clock,
      progress: progressOn(shell.err, () => shell.clock.steadyMs()),
      interrupted: shell.interrupted,
    })
    if (end.resumedAfter > 0) shell.err.write(`went on after row ${end.resumedAfter}, where an earlier import of this file ended (--from-start would begin anew)\n`)
    if (end.blind) shell.err.write(`the history of ${dataDir} is in use: what it holds already was not compared\n`)
    await shell.out(importReport(end.tally, end.plan, dry))
    if (end.stopped) shell.err.write('stopped: the same command goes on from here\n')
    return end.tally.refused > 0 || end.stopped ? 1 : 0
  },
}

function askedOf(o: Options): ImportAsked {
  const zoneText = textOption(o, 'zone')
  const zone = zoneText === null ? null : zoneOption(zoneText)
  if (zoneText !== null && zone === null)
    throw new HistoryRefused('OPTION', `--zone is "${zoneText}": UTC, an offset such as +01:00 or the name of a zone such as Europe/Lisbon is needed`)
  const takes = textsOption(o, 'take').map(takeOf)
  const twice = takes.find((t, i) => takes.findIndex((x) => x.name === t.name) !== i)
  if (twice) throw new HistoryRefused('OPTION', `--take names "${twice.name}" twice: a column can be one signal only`)
  return {
    site: textOption(o, 'site'),
    form: wordOption(o, 'form', ['wide', 'long']),
    takes,
    siteUnits: wordOption(o, 'units', ['site']) === 'site',
    columns: {
      time: textOption(o, 'time-column'),
      site: textOption(o, 'site-column'),
      signal: textOption(o, 'signal-column'),
      value: textOption(o, 'value-column'),
      quality: textOption(o, 'quality-column'),
    },
    times: { dates: wordOption(o, 'dates', ['ymd', 'dmy', 'mdy']), numbers: wordOption(o, 'times-in', ['s', 'ms']), naive: zone?.naive ?? 'refused' },
    zone: zone?.zone ?? 'UTC',
    decimalComma: wordOption(o, 'decimal', ['comma', 'point']) === 'comma',
    missing: textsOption(o, 'missing'),
  }
}

function takeOf(text: string): Take {
  const m = /^(.+) as (\S+) in (\S+)$/.exec(text.trim())
  if (!m) throw new HistoryRefused('OPTION', `--take is "${text}": "NAME as SIGNAL in UNIT" is needed, such as "DO 1 as bio1.do in mg/L"; a figure without a unit has the unit 1`)
  return { name: (m[1] ?? '').trim(), signal: m[2] ?? '', unit: m[3] ?? '' }
}

function separatorOption(o: Options): string | null {
  const s = textOption(o, 'separator')
  if (s === null) return null
  const one = s === 'tab' || s === '\\t' ? '\t' : s
  if (one.length !== 1 || /["\r\n]/.test(one)) throw new HistoryRefused('OPTION', `--separator is "${s}": one character, or tab, is needed`)
  return one
}

function wholeOption(o: Options, name: string, otherwise: number): number {
  const text = textOption(o, name)
  if (text === null) return otherwise
  if (!/^[1-9]\d{0,5}$/.test(text)) throw new HistoryRefused('OPTION', `--${name} is "${text}": a whole number from 1 is needed`)
  return Number(text)
}
