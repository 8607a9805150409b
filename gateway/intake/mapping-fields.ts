/**
 * Figures in a mapped message at places no mapping names: what a controller sends besides, so that a person can take it in. Only
 * figures are looked at; text may hold anything and is never shown.
 */
import type { ForeignPath, ForeignPlace, ForeignTopic, Plain } from '../site/foreign.ts'
import { isObject, NUMBER } from './payload.ts'

export interface UnmappedField {
  readonly path: string
  readonly when: ForeignPlace['when']
  readonly value: number
}

/** Most of one message: a table of a thousand registers must not push everything else out of the list. */
const MOST_FIELDS = 60
const MOST_DEPTH = 8
/** As long as a path may be in a site file. */
const MOST_PATH = 200

/** `rows` as the mapping found them, `root` the payload. Of many rows the last speaks for all, unless rows say themselves what they are. */
export function unmappedFields(topic: ForeignTopic, rows: readonly unknown[], root: unknown): readonly UnmappedField[] {
  const names = namesOf(topic)
  const out: UnmappedField[] = []
  const walk = (here: unknown, steps: readonly string[], lead: string): void => {
    if (out.length >= MOST_FIELDS || steps.length > MOST_DEPTH) return
    const path = lead + steps.join('.')
    if (names.places.has(path) && steps.length > 0) return
    if (Array.isArray(here)) {
      for (const [i, item] of (here as readonly unknown[]).entries()) walk(item, [...steps, String(i)], lead)
      return
    }
    if (isObject(here)) {
      // A name with a dot in it cannot be written as a path.
      for (const name of Object.keys(here)) if (name !== '' && !name.includes('.') && !(steps.length === 0 && name.startsWith('/'))) walk(here[name], [...steps, name], lead)
      return
    }
    const value = figureIn(here)
    if (value !== null && steps.length > 0 && path.length <= MOST_PATH) out.push({ path, when: null, value })
  }
  if (topic.rows !== null) walk(root, [], '/')
  if (names.kinds.length === 0) {
    if (rows.length > 0) walk(rows.at(-1), [], '')
    return out
  }
  for (const row of rows) {
    walk(row, [], '')
    for (const kind of names.kinds) {
      const is = reach(kind.when, row, root)
      if (!isPlain(is) || kind.known.has(is)) continue
      const value = figureIn(reach(kind.path, row, root))
      if (value !== null && out.length < MOST_FIELDS) out.push({ path: written(kind.path), when: { path: written(kind.when), is }, value })
    }
  }
  return out
}

/** Whether the site file maps this place by now. */
export function isMapped(topic: ForeignTopic, place: Pick<ForeignPlace, 'path' | 'when'>): boolean {
  return topic.signals.some(
    (s) =>
      written(s.path) === place.path &&
      (place.when === null ? s.when === null || !s.path.fromRoot : s.when !== null && written(s.when.path) === place.when.path && s.when.is === place.when.is),
  )
}

/** A signal id made of a path: `ch.3.Val` becomes `ch.3.val`; a proposal and no more. */
export function idFrom(place: Pick<ForeignPlace, 'path' | 'when'>): string {
  const steps = place.when ? [String(place.when.is)] : place.path.replace(/^\//, '').split('.')
  const parts = steps.map((s) =>
    s
      .toLowerCase()
      .replace(/[^a-z0-9]+/g, '-')
      .replace(/^-+|-+$/g, '')
      .slice(0, 40),
  )
  return (
    parts
      .filter((p) => p !== '')
      .slice(-4)
      .join('.') || 'field'
  )
}

interface Names {
  /** Places a mapping reads, as they are written. */
  readonly places: ReadonlySet<string>
  /** Rows that say what they are: where, where their figure is, and what is known there. */
  readonly kinds: readonly { readonly when: ForeignPath; readonly path: ForeignPath; readonly known: ReadonlySet<Plain> }[]
}

const seen = new WeakMap<ForeignTopic, Names>()

function namesOf(topic: ForeignTopic): Names {
  const known = seen.get(topic)
  if (known) return known
  const places = new Set<string>()
  const add = (p: ForeignPath | null | undefined): void => {
    if (!p) return
    places.add(written(p))
    // Without a list of rows the payload is the row: both ways of writing mean the same place.
    if (topic.rows === null) places.add(p.steps.join('.'))
  }
  add(topic.time?.path)
  add(topic.quality?.path)
  if (topic.rows) places.add(`/${topic.rows.steps.join('.')}`)
  const kinds = new Map<string, { when: ForeignPath; path: ForeignPath; known: Set<Plain> }>()
  for (const s of topic.signals) {
    add(s.path)
    add(s.unitPath)
    if (!s.when) continue
    add(s.when.path)
    const key = `${written(s.when.path)} ${written(s.path)}`
    const kind = kinds.get(key) ?? { when: s.when.path, path: s.path, known: new Set<Plain>() }
    kind.known.add(s.when.is)
    kinds.set(key, kind)
  }
  const names = { places, kinds: [...kinds.values()] }
  seen.set(topic, names)
  return names
}

const written = (p: ForeignPath): string => (p.fromRoot ? '/' : '') + p.steps.join('.')

const isPlain = (v: unknown): v is Plain => typeof v === 'string' || typeof v === 'number' || typeof v === 'boolean'

/** null: no figure. */
function figureIn(v: unknown): number | null {
  if (typeof v === 'number') return Number.isFinite(v) ? v : null
  if (typeof v === 'boolean') return v ? 1 : 0
  return typeof v === 'string' && NUMBER.test(v) && Number.isFinite(Number(v)) ? Number(v) : null
}

function reach(path: ForeignPath, row: unknown, root: unknown): unknown {
  let here: unknown = path.fromRoot ? root : row
  for (const step of path.steps) {
    if (Array.isArray(here)) here = (here as readonly unknown[])[Number(step)]
    else if (isObject(here) && Object.hasOwn(here, step)) here = here[step]
    else return undefined
  }
  return here
}
