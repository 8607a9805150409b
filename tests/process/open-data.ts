/** Open measured data beside the repository (`../shared/data`), for tests that name themselves skipped where it is absent. */
import { existsSync, readFileSync } from 'node:fs'

const folder = new URL('../../../shared/data/', import.meta.url)

export const hasData = (file: string): boolean => existsSync(new URL(file, folder))

/** The whole file as text. */
export const readWhole = (file: string): string => readFileSync(new URL(file, folder), 'utf8')

/** Rows by column name; an empty field is NaN, a field that is no number too. */
export function readRows(file: string): readonly Readonly<Record<string, number>>[] {
  const [head = '', ...lines] = readFileSync(new URL(file, folder), 'utf8').trim().split(/\r?\n/)
  const names = head.split(',')
  return lines.map((line) => {
    const fields = line.split(',')
    return Object.fromEntries(names.map((name, i) => [name, fields[i] === '' ? Number.NaN : Number(fields[i])]))
  })
}

/** Column `name` as text, row by row. */
export function readTexts(file: string, name: string): readonly string[] {
  const [head = '', ...lines] = readFileSync(new URL(file, folder), 'utf8').trim().split(/\r?\n/)
  const column = head.split(',').indexOf(name)
  if (column < 0) throw new Error(`${file} has no column ${name}`)
  return lines.map((line) => line.split(',')[column] ?? '')
}

/** Times of a column, ms; a clock without a zone is read as UTC. */
export const readTimes = (file: string, name: string): readonly number[] => readTexts(file, name).map((text) => Date.parse(text.endsWith('Z') ? text : `${text}Z`))

/** Values of `../shared/data/reference-values.json` by id. */
export function referenceValue(id: string): unknown {
  const all = JSON.parse(readFileSync(new URL('reference-values.json', folder), 'utf8')) as { references: readonly { id: string; value: unknown }[] }
  return all.references.find((r) => r.id === id)?.value
}
