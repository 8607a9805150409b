/**
 * What a controller already in the field sends, as its site file describes it: which topic, where in the JSON the figures, the time
 * and the quality stand. Resolved form; intake/mapping.ts reads messages with it.
 */
export interface ForeignPath {
  /** From the payload as a whole, also inside rows. */
  readonly fromRoot: boolean
  /** Names, and places in lists from 0; empty: the thing itself. */
  readonly steps: readonly string[]
}

export type Plain = string | number | boolean

/** One place in messages on one topic, as a site file writes it. */
export interface ForeignPlace {
  readonly topic: string
  readonly path: string
  /** Only where this stands so. */
  readonly when: { readonly path: string; readonly is: Plain } | null
}

export interface ForeignSignal {
  /** Id in the site file. */
  readonly signal: string
  readonly path: ForeignPath
  /** Read only where this stands so: lists of `{"n":"AI3","v":7.2}`. */
  readonly when: { readonly path: ForeignPath; readonly is: Plain } | null
  /** UCUM code of the figure as sent; null: that of the signal. */
  readonly unit: string | null
  /** Where the message itself says the unit. */
  readonly unitPath: ForeignPath | null
  readonly scale: number
  /** Added after the scale, before the unit is converted. */
  readonly offset: number
  /** Bit of a whole number, 0 the lowest; null: the number itself. */
  readonly bit: number | null
  /** Text that stands for a figure, "ON" for 1. */
  readonly words: Readonly<Record<string, number>>
  /** Figures that mean "no figure", as sent: -9999, 32767. */
  readonly missing: readonly number[]
}

export interface ForeignTopic {
  /** As the controller publishes it, without wildcards. */
  readonly topic: string
  /** A list with one row each; null: the payload is the only row. */
  readonly rows: ForeignPath | null
  /** Of a row; numbers are ms or s since 1970 UTC, text is read like any time. null: the controller sends none. */
  readonly time: { readonly path: ForeignPath; readonly in: 'ms' | 's' } | null
  /** What stands in neither list is bad; where nothing stands, nothing is said. */
  readonly quality: { readonly path: ForeignPath; readonly good: readonly Plain[]; readonly uncertain: readonly Plain[] } | null
  readonly signals: readonly ForeignSignal[]
}

/** `header.ts`, `ch.0.val`, `/header.ts` from the payload as a whole; the empty text: the thing itself. */
export function readPath(text: string): ForeignPath {
  const fromRoot = text.startsWith('/')
  const rest = fromRoot ? text.slice(1) : text
  return { fromRoot, steps: rest === '' ? [] : rest.split('.') }
}
