/** What a trend shows, asked of the server as its span moves: histories, the journal before and in it, the site log. */
import { useSignal, type Signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { CourseBody, EntryBody, HistoryBody, JournalBody, LoopDetailBody, NormalBody, SignalBody } from '../../server/wire.ts'
import { getCourse, getHistory, getJournal, getLog, getLoop, getNormal, type Answer } from '../link/api.ts'
import { watch } from '../link/live.ts'
import { newAlarm, newEntry } from '../state/store.ts'
import { shiftOf, type Compare } from '../state/trend-compare.ts'
import { guests, placeOf } from '../state/trend-view.ts'
import type { Span } from '../state/trend.ts'
import { withVitals } from '../state/vital.ts'

export type Trends = ReadonlyMap<string, HistoryBody>

/** An alarm may have stood for long before the span begins. */
const BEFORE_MS = 30 * 86_400_000
const MOST_EVENTS = 1000
const MINUTE = 60_000

/** Answers by the id their signal has in the view. */
const told = <T>(signals: readonly SignalBody[], answers: readonly Answer<T>[]): ReadonlyMap<string, T> =>
  new Map(answers.flatMap((a, i) => (a.ok && signals[i] ? [[signals[i].id, a.body] as const] : [])))

export function useTrendData(site: string, signals: readonly SignalBody[], span: Span, points: number) {
  const histories: Signal<Trends> = useSignal<Trends>(new Map())
  const events = useSignal<JournalBody['events']>([])
  const entries = useSignal<readonly EntryBody[]>([])
  const fault = useSignal('')
  const keys = signals.map((s) => s.id).join(',')
  useEffect(() => {
    let over = false
    void Promise.all(
      signals.map(({ id }) => {
        const p = placeOf(id, site)
        return getHistory(p.site, p.signal, span.fromMs, span.toMs, points)
      }),
    ).then((answers) => {
      if (over) return
      const wrong = answers.find((a) => !a.ok)
      fault.value = wrong && !wrong.ok ? wrong.message : ''
      // With no link at all the lines stay: they are old, and the head of the page says how old.
      if (answers.every((a) => !a.ok)) return
      histories.value = told(signals, answers)
    })
    return () => {
      over = true
    }
  }, [site, keys, span.fromMs, span.toMs])
  // These change with people and alarms, not with every step of the span.
  const rough = [site, Math.floor(span.fromMs / MINUTE), Math.ceil(span.toMs / MINUTE)] as const
  const changed = newAlarm.value
  useEffect(() => {
    let over = false
    void getJournal(Math.max(0, span.fromMs - BEFORE_MS), rough[2] * MINUTE, MOST_EVENTS, site).then((r) => !over && r.ok && (events.value = r.body.events))
    return () => {
      over = true
    }
  }, [...rough, changed])
  const written = newEntry.value
  useEffect(() => {
    let over = false
    void getLog(site, span.fromMs, rough[2] * MINUTE).then((r) => !over && r.ok && (entries.value = r.body.entries))
    return () => {
      over = true
    }
  }, [...rough, written])
  return { histories, events, entries, fault }
}

const NONE: ReadonlyMap<string, CourseBody> = new Map()

/** Drift and step of each signal over the span, while `on`. A span that follows the present is asked anew when it has moved by a sixtieth. */
export function useCourses(site: string, signals: readonly SignalBody[], span: Span, on: boolean) {
  const courses: Signal<ReadonlyMap<string, CourseBody>> = useSignal(NONE)
  const fault = useSignal('')
  const step = Math.max(1000, (span.toMs - span.fromMs) / 60)
  const asked = on ? signals : []
  useEffect(() => {
    if (asked.length === 0) {
      courses.value = NONE
      fault.value = ''
      return
    }
    let over = false
    void Promise.all(
      asked.map(({ id }) => {
        const p = placeOf(id, site)
        return getCourse(p.site, p.signal, span.fromMs, span.toMs)
      }),
    ).then((answers) => {
      if (over) return
      const wrong = answers.find((a) => !a.ok)
      fault.value = wrong && !wrong.ok ? wrong.message : ''
      courses.value = told(asked, answers)
    })
    return () => {
      over = true
    }
  }, [site, asked.map((s) => s.id).join(','), Math.round(span.fromMs / step), Math.round(span.toMs / step)])
  return { courses, fault }
}

/** Other loops that a view looks into, with their computed signals; listened to as long as they are shown. */
export function useGuests(ids: readonly string[], home: string, compared: Compare | null) {
  const loops: Signal<ReadonlyMap<string, LoopDetailBody>> = useSignal(new Map())
  const fault = useSignal('')
  const sites = guests(ids, home)
  const wanted = [...new Set([...sites, ...(compared?.kind === 'loop' ? [compared.site] : [])])]
  useEffect(() => {
    let over = false
    fault.value = ''
    for (const site of wanted) {
      if (loops.peek().has(site)) continue
      void getLoop(site).then((r) => {
        if (over) return
        if (r.ok) loops.value = new Map([...loops.peek(), [site, withVitals(r.body)]])
        else fault.value = r.message
      })
    }
    const leave = watch(sites)
    return () => {
      over = true
      leave()
    }
  }, [wanted.join(',')])
  return { loops, fault }
}

export type Band = NonNullable<NormalBody['signals'][number]['band']>

/** What is usual just now for the signals of a view, by their id in it; those without a band are left out. */
export function useBands(ids: readonly string[], home: string): Signal<ReadonlyMap<string, Band>> {
  const bands: Signal<ReadonlyMap<string, Band>> = useSignal(new Map())
  const sites = [...new Set(ids.map((id) => placeOf(id, home).site))].join(',')
  useEffect(() => {
    let over = false
    void Promise.all(sites.split(',').filter(Boolean).map(getNormal)).then((answers) => {
      if (over) return
      const all = answers.flatMap((a) => (a.ok ? a.body.signals.flatMap((s) => (s.band ? [[a.body.site === home ? s.id : `${a.body.site}/${s.id}`, s.band] as const] : [])) : []))
      bands.value = new Map(all)
    })
    return () => {
      over = true
    }
  }, [sites, home])
  return bands
}

/** The other period or loop of a comparison, its times moved to where they are drawn. A signal that is not there has no line. */
export function useCompared(home: string, signals: readonly SignalBody[], compare: Compare | null, span: Span, zone: string, points: number): Signal<Trends> {
  const others: Signal<Trends> = useSignal<Trends>(new Map())
  const by = compare === null ? 0 : shiftOf(compare, span, zone)
  const keys = signals.map((s) => s.id).join(',')
  const where = compare?.kind === 'loop' ? compare.site : ''
  useEffect(() => {
    if (compare === null) {
      others.value = new Map()
      return
    }
    let over = false
    const asked = where === '' ? signals : signals.filter((s) => !s.id.includes('/'))
    void Promise.all(
      asked.map(({ id }) => {
        const p = where === '' ? placeOf(id, home) : { site: where, signal: id }
        return getHistory(p.site, p.signal, span.fromMs - by, span.toMs - by, points)
      }),
    ).then((answers) => {
      if (over) return
      others.value = new Map([...told(asked, answers)].map(([id, h]) => [id, moved(h, by)]))
    })
    return () => {
      over = true
    }
  }, [home, keys, span.fromMs, span.toMs, compare === null, where, by])
  return others
}

const moved = (h: HistoryBody, by: number): HistoryBody => ({ ...h, fromMs: h.fromMs + by, toMs: h.toMs + by, at: h.at.map((ms) => ms + by) })
