/** What every command of `npm run history` is made of: its words, its options, and what it does with them. */
import { parseArgs, type ParseArgsConfig } from 'node:util'
import type { Clock } from '../../clock.ts'
import { HistoryRefused } from '../refused.ts'

/** Where a command stands: handed in, so that tests run commands without a process. */
export interface Shell {
  readonly clock: Clock
  /** Read by a command where the option of the same name is not given. */
  readonly env: Readonly<Record<string, string | undefined>>
  /** Standard output; resolves when it may be written to again. */
  readonly out: (text: string) => void | Promise<void>
  readonly err: { readonly isTTY?: boolean; write(text: string): unknown }
  /** True once a person has asked to stop. */
  readonly interrupted: () => boolean
}

export type Options = Readonly<Record<string, string | boolean | readonly (string | boolean)[] | undefined>>

export interface Command {
  readonly name: string
  /** What stands behind the name: `FILE`. */
  readonly args: string
  readonly summary: string
  /** Shown by --help below the summary. */
  readonly help: string
  readonly options: NonNullable<ParseArgsConfig['options']>
  /** Gives the exit code. */
  run(shell: Shell, given: { readonly args: readonly string[]; readonly options: Options }): Promise<number>
}

/** Parses the arguments behind a command's name. Throws HistoryRefused. */
export function parse(command: Command, argv: readonly string[]): { readonly args: readonly string[]; readonly options: Options } {
  try {
    const options: Command['options'] = { data: { type: 'string' }, help: { type: 'boolean' }, ...command.options }
    const { positionals, values } = parseArgs({
      args: joined(argv, options),
      options,
      allowPositionals: true,
      strict: true,
    })
    return { args: positionals, options: values as Options }
  } catch (e) {
    const said = e instanceof Error ? (e.message.split('\n')[0] ?? '').split('. To specify')[0] : String(e)
    throw new HistoryRefused('OPTION', `${said}: npm run history ${command.name} -- --help shows its options`)
  }
}

/** `--zone -06:00` is meant as it is written, though its value begins as an option does. */
function joined(argv: readonly string[], options: Command['options']): string[] {
  const out: string[] = []
  for (const arg of argv) {
    const before = out.at(-1) ?? ''
    if (/^-\d/.test(arg) && before.startsWith('--') && options[before.slice(2)]?.type === 'string') out[out.length - 1] = `${before}=${arg}`
    else out.push(arg)
  }
  return out
}

export const textOption = (o: Options, name: string): string | null => {
  const v = o[name]
  return typeof v === 'string' ? v : null
}

/** A word out of a few. Throws HistoryRefused. */
export function wordOption<T extends string>(o: Options, name: string, words: readonly T[]): T | null {
  const v = textOption(o, name)
  if (v === null) return null
  const word = words.find((w) => w === v)
  if (word === undefined) throw new HistoryRefused('OPTION', `--${name} is "${v}": ${words.join(' or ')} is needed`)
  return word
}

export const textsOption = (o: Options, name: string): readonly string[] => {
  const v = o[name]
  return Array.isArray(v) ? v.filter((x): x is string => typeof x === 'string') : []
}

export const dataDirOf = (shell: Shell, o: Options): string => textOption(o, 'data') ?? shell.env.LOOPKEEPER_DATA ?? 'data'

/** A time with its zone, ms. Throws HistoryRefused. */
export function timeOption(o: Options, name: string, otherwise: number): number {
  const text = textOption(o, name)
  if (text === null) return otherwise
  const ms = /Z$|[+-]\d\d:\d\d$/.test(text) ? Date.parse(text) : Number.NaN
  if (!Number.isFinite(ms)) throw new HistoryRefused('OPTION', `--${name} is "${text}": a time with its zone is needed, such as 2026-01-15T03:00:00Z`)
  return ms
}
