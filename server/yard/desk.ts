/** Keeps the links of the yard pages, lets reports in at a pace a yard may have, and counts. */
import type { Clock } from '../../gateway/clock.ts'
import type { Counter } from '../../gateway/port.ts'
import { createTries } from '../people/tries.ts'
import { openYardLinks, type YardLink } from './links.ts'

/** Reports of one loop: more than this in the span is a child with a phone or a stuck button, not a yard (common practice, no source). */
const MOST_REPORTS = 6
const SPAN_MS = 10 * 60_000

export interface YardDesk {
  make(site: string, by: string): string
  withdraw(site: string): boolean
  of(site: string): YardLink | null
  /** The loop this token opens; null: none. */
  open(token: string): string | null
  /** 0: one more report of this loop may be written, and is counted; else ms to wait. */
  admitReport(site: string): number
  written(): void
  counters(): readonly Counter[]
}

export function openYardDesk(dataDir: string, clock: Clock, log: (line: string) => void): YardDesk {
  const links = openYardLinks(dataDir, log)
  const pace = createTries(MOST_REPORTS, SPAN_MS)
  let written = 0
  let held = 0
  let unknown = 0
  return {
    make: (site, by) => links.make(site, by, clock.nowMs()),
    withdraw: (site) => links.withdraw(site),
    of: (site) => links.of(site),
    open(token) {
      const site = links.siteOf(token)
      if (site === null) unknown++
      return site
    },
    admitReport(site) {
      const waitMs = pace.waitMs(site, clock.steadyMs())
      if (waitMs > 0) held++
      else pace.failed(site, clock.steadyMs())
      return waitMs
    },
    written: () => void written++,
    counters: () => [
      { name: 'yardLinks', value: links.count(), what: 'Loops whose yard page has a link.' },
      { name: 'yardReports', value: written, what: 'Reports written by the sign since the start.' },
      { name: 'yardReportsHeldBack', value: held, what: `Reports by the sign not written since the start: more than ${MOST_REPORTS} of one loop within ${SPAN_MS / 60_000} min.` },
      { name: 'yardLinksUnknown', value: unknown, what: 'Yard pages asked for with a link that is withdrawn, replaced, mistyped or never was, since the start.' },
    ],
  }
}
