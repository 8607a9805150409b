/** The parts of a site file that say how its controllers write: their clock, and topics that are not in our form. */
import { convertible, unitsInto } from './convert.ts'
import { readPath, type ForeignSignal, type ForeignTopic } from './foreign.ts'
import type { Signal, SiteClock } from './site.ts'
import type { SiteFile } from './site-schema.ts'

type Complain = (path: readonly (string | number)[], message: string) => void
type WrittenTopic = NonNullable<SiteFile['foreign']>[number]

const DAY_MS = 86_400_000
const WEEK_MS = 7 * DAY_MS

export function resolveClock(c: SiteFile['clock'], complain: Complain): SiteClock {
  if (c?.ahead !== undefined && c.behind !== undefined) complain(['clock', 'behind'], 'ahead and behind found: a clock is one or the other')
  const backlogMs = c?.backlog ?? null
  if (backlogMs !== null && (backlogMs <= WEEK_MS || backlogMs > 400 * DAY_MS))
    complain(['clock', 'backlog'], 'more than 7d and at most 400d: a week is taken of every site without being asked')
  return { naive: naiveOf(c?.zone ?? 'none'), correctMs: (c?.behind ?? 0) - (c?.ahead ?? 0), backlogMs }
}

function naiveOf(zone: string): SiteClock['naive'] {
  if (zone === 'none') return 'refused'
  if (zone === 'local') return 'wall'
  if (zone === 'utc') return 0
  const minutes = Number(zone.slice(1, 3)) * 60 + Number(zone.slice(4, 6))
  return zone.startsWith('-') ? -minutes : minutes
}

export function resolveForeign(topics: readonly WrittenTopic[], signals: readonly Signal[], complain: Complain): readonly ForeignTopic[] {
  const seen = new Set<string>()
  return topics.map((t, i): ForeignTopic => {
    if (seen.has(t.topic)) complain(['foreign', i, 'topic'], `"${t.topic}" found twice: put its signals into one entry`)
    seen.add(t.topic)
    return {
      topic: t.topic,
      rows: t.rows === undefined ? null : readPath(t.rows),
      time: t.time ? { path: readPath(t.time.path), in: t.time.in ?? 'ms' } : null,
      quality: t.quality ? { path: readPath(t.quality.path), good: t.quality.good, uncertain: t.quality.uncertain ?? [] } : null,
      signals: Object.entries(t.signals).map(([id, s]) => resolveSignal(id, s ?? {}, signals, (field, message) => complain(['foreign', i, 'signals', id, ...field], message))),
    }
  })
}

function resolveSignal(
  id: string,
  s: NonNullable<WrittenTopic['signals'][string]>,
  signals: readonly Signal[],
  complain: (field: readonly string[], message: string) => void,
): ForeignSignal {
  const own = signals.find((x) => x.id === id)
  if (!own) complain([], `"${id}" is not among the signals of this file: add it under signals: as well`)
  else if (s.unit !== undefined && !convertible(s.unit, own.unit)) {
    const others = unitsInto(own.unit)
    complain(['unit'], `"${s.unit}" found, and the signal is in "${own.unit}": ${[own.unit, ...others].map((u) => `"${u}"`).join(', ')} can be read`)
  }
  if (s.bit !== undefined && (s.scale !== undefined || s.offset !== undefined || s.unit !== undefined))
    complain(['bit'], 'bit together with scale, offset or unit: a bit is 0 or 1')
  if (s.unit !== undefined && s.unitPath !== undefined) complain(['unitPath'], 'unit and unitPath found: give the one that is right')
  return {
    signal: id,
    path: readPath(s.path ?? ''),
    when: s.when ? { path: readPath(s.when.path), is: s.when.is } : null,
    unit: s.unit ?? null,
    unitPath: s.unitPath === undefined ? null : readPath(s.unitPath),
    scale: s.scale ?? 1,
    offset: s.offset ?? 0,
    bit: s.bit ?? null,
    words: s.words ?? {},
    missing: s.missing ?? [],
  }
}
