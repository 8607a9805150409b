/** Series of measured data as typed columns. Each file is read and split once, whatever number of its columns is asked for. */
import { readWhole } from '../process/open-data.ts'
import type { KindName } from './real-kinds.ts'

export interface Column {
  /** As in a signal id. */
  readonly name: string
  readonly kind: KindName
  /** NaN: no figure. */
  readonly values: Float64Array
}

/** Measured together, judged together, labelled together. */
export interface Series {
  readonly name: string
  readonly everyMs: number
  /** Ms since 1970, as the source wrote them; they need not ascend. */
  readonly times: Float64Array
  readonly columns: readonly Column[]
  /** 1: somebody called this row wrong. 2: wrong in a way that is not asked of this set, so it explains and is neither found nor missed. */
  readonly wrong: Uint8Array
}

interface Table {
  readonly rows: readonly (readonly string[])[]
  text(name: string): (row: number) => string
  numbers(name: string, change?: (v: number) => number): Float64Array
  times(name: string): Float64Array
}

/** Fields hold no quotes in any of these files. */
export function readTable(file: string, delimiter = ','): Table {
  const [head = '', ...lines] = readWhole(file).trim().split(/\r?\n/)
  const names = head.split(delimiter)
  const rows = lines.map((l) => l.split(delimiter))
  const at = (name: string): number => {
    const i = names.indexOf(name)
    if (i < 0) throw new Error(`${file} has no column ${name}: it has ${names.join(', ')}`)
    return i
  }
  return {
    rows,
    text(name) {
      const i = at(name)
      return (row) => rows[row]?.[i] ?? ''
    },
    numbers(name, change = (v) => v) {
      const i = at(name)
      return Float64Array.from(rows, (r) => (r[i] ? change(Number(r[i])) : Number.NaN))
    },
    times(name) {
      const i = at(name)
      return Float64Array.from(rows, (r) => Date.parse(`${(r[i] ?? '').replace(' ', 'T').replace(/Z$/, '')}Z`))
    },
  }
}

export const marks = (rows: number, is: (row: number) => number | boolean): Uint8Array => Uint8Array.from({ length: rows }, (_, i) => Number(is(i)))
