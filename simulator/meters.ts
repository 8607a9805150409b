/**
 * Counters over the join of two stretches of history. The older stretch is told while its plants still run, the newer one has been
 * told already, and nobody knows beforehand how far a counter will get. So the counters of the older stretch are held back, and told
 * at its end, moved by one figure each so that they arrive where the newer stretch begins.
 */
import type { Quantity } from '../gateway/site/quantity.ts'
import type { Site } from '../gateway/site/site.ts'

const COUNTERS: readonly Quantity[] = ['hours', 'starts', 'pulses', 'volume']
const ROWS = 500

export interface Meters {
  /** Takes the counters out of a message; null: nothing else was in it. */
  hold(payload: string): string | null
  /** Messages with all that was held; `joins`: where each counter stands after the stretch. */
  release(joins: ReadonlyMap<string, number>): readonly string[]
}

interface Row {
  readonly t: number
  readonly signals: Readonly<Record<string, number | null>>
}
interface Block {
  readonly names: readonly string[]
  readonly rows: readonly (readonly (number | null)[])[]
}

export function meters(site: Site): Meters {
  const held = new Map<string, { readonly at: number[]; readonly values: number[] }>()
  for (const s of site.signals) if (COUNTERS.includes(s.quantity)) held.set(s.id, { at: [], values: [] })
  const keep = (id: string, t: number | null | undefined, value: number | null | undefined): void => {
    const column = held.get(id)
    if (!column || typeof t !== 'number' || typeof value !== 'number') return
    column.at.push(t)
    column.values.push(value)
  }

  function holdBlock({ names, rows }: Block): string | null {
    const others = names.map((n, i) => (held.has(n) ? -1 : i)).filter((i) => i >= 0)
    for (const row of rows) names.forEach((n, i) => keep(n, row[0], row[i + 1]))
    if (others.length === 0) return null
    return JSON.stringify({ names: others.map((i) => names[i]), rows: rows.map((row) => [row[0], ...others.map((i) => row[i + 1])]) })
  }

  function holdRows(rows: readonly Row[]): string | null {
    const out: Row[] = []
    for (const { t, signals } of rows) {
      const rest = Object.entries(signals).filter(([id]) => !held.has(id))
      for (const [id, value] of Object.entries(signals)) keep(id, t, value)
      if (rest.length > 0) out.push({ t, signals: Object.fromEntries(rest) })
    }
    return out.length === 0 ? null : JSON.stringify({ rows: out })
  }

  return {
    hold(payload) {
      if (held.size === 0) return payload
      const o = JSON.parse(payload) as Block | { readonly rows: readonly Row[] } | Row
      if ('names' in o) return holdBlock(o)
      return holdRows('rows' in o ? o.rows : [o])
    },
    release(joins) {
      const out: string[] = []
      for (const [id, { at, values }] of held) {
        const last = values.at(-1)
        if (last === undefined) continue
        // A counter never stood below nothing, even where the newer stretch begins with a young one.
        const by = Math.max((joins.get(id) ?? last) - last, -(values[0] ?? 0))
        for (let i = 0; i < at.length; i += ROWS)
          out.push(JSON.stringify({ names: [id], rows: at.slice(i, i + ROWS).map((t, k) => [t, Number(((values[i + k] ?? 0) + by).toFixed(6))]) }))
      }
      return out
    },
  }
}
