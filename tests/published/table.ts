/**
 * A published check: a figure that stands in print (or came from a tool nobody here wrote), and the function of ours that has to
 * reproduce it. The figures lie in the JSON files beside this one, with tolerance, grade and source; what we compute lies in
 * the `*-cases.ts` files. The two are joined by id, and an id that is missing on either side is an error, so neither can drift.
 */
import { readFileSync } from 'node:fs'

export interface PublishedValue {
  readonly id: string
  readonly what: string
  readonly expected: number
  /** Largest distance allowed, unit of `expected`. */
  readonly tol: number
  readonly grade: string
  readonly source: string
  /** Why this check cannot fail by computation (a constant beside itself, figures handed in): it stands guard over typing slips and is not counted as outside truth. */
  readonly guard?: string
}

export interface PublishedCase extends PublishedValue {
  readonly ours: () => number
}

export interface Verdict {
  readonly ok: boolean
  readonly ours: number
  /** What was thrown instead of a figure. */
  readonly trouble: string | null
}

/** Our computations by id; a pattern serves a family of ids. */
export type Ours = readonly (readonly [RegExp, (id: string, parts: readonly string[]) => number])[]

export function readValues(file: string): readonly PublishedValue[] {
  const { values } = JSON.parse(readFileSync(new URL(file, import.meta.url), 'utf8')) as { values: readonly PublishedValue[] }
  return values
}

/** throws when an id has no computation, or a computation no id */
export function join(file: string, ours: Ours, values: readonly PublishedValue[] = readValues(file)): readonly PublishedCase[] {
  const idle = new Set(ours)
  const cases = values.map((v) => {
    const found = ours.find(([pattern]) => pattern.test(v.id))
    if (!found) throw new Error(`${file}: nothing of ours computes ${v.id}`)
    idle.delete(found)
    const parts = (found[0].exec(v.id) ?? []).slice(1)
    return { ...v, ours: () => found[1](v.id, parts) }
  })
  if (idle.size > 0) throw new Error(`${file} holds no value for ${[...idle].map(([p]) => p.source).join(', ')}`)
  return cases
}

/** NaN, infinities and thrown errors fail: they compare with nothing. */
export function judge(c: PublishedCase): Verdict {
  try {
    const ours = c.ours()
    return { ok: Number.isFinite(ours) && Math.abs(ours - c.expected) <= c.tol, ours, trouble: null }
  } catch (e) {
    return { ok: false, ours: Number.NaN, trouble: String(e) }
  }
}

/** The figure of a result that may say "not observable". */
export function told(result: number | { readonly because: string } | null): number {
  if (typeof result === 'number') return result
  throw new Error(result === null ? 'no such row' : result.because)
}
