/** What a trend shows, asked of the server as its span moves: histories, the journal before and in it, the site log. */
import { useSignal, type Signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { CourseBody, EntryBody, HistoryBody, JournalBody, SignalBody } from '../../server/wire.ts'
import { getCourse, getHistory, getJournal, getLog } from '../link/api.ts'
import { newAlarm, newEntry } from '../state/store.ts'
import type { Span } from '../state/trend.ts'

export type Trends = ReadonlyMap<string, HistoryBody>

/** An alarm may have stood for long before the span begins. */
const BEFORE_MS = 30 * 86_400_000
const MOST_EVENTS = 1000
const MINUTE = 60_000

export function useTrendData(site: string, signals: readonly SignalBody[], span: Span, points: number) {
  const histories: Signal<Trends> = useSignal<Trends>(new Map())
  const events = useSignal<JournalBody['events']>([])
  const entries = useSignal<readonly EntryBody[]>([])
  const fault = useSignal('')
  const keys = signals.map((s) => s.id).join(',')
  useEffect(() => {
    let over = false
    void Promise.all(signals.map((s) => getHistory(site, s.id, span.fromMs, span.toMs, points))).then((answers) => {
      if (over) return
      const wrong = answers.find((a) => !a.ok)
      fault.value = wrong && !wrong.ok ? wrong.message : ''
      // With no link at all the lines stay: they are old, and the head of the page says how old.
      if (answers.every((a) => !a.ok)) return
      histories.value = new Map(answers.flatMap((a) => (a.ok ? [[a.body.signal, a.body] as const] : [])))
    })
    return () => {
      over = true
    }
  }, [site, keys, span.fromMs, span.toMs])
  // These change with people and alarms, not with every step of the span.
  const rough = [site, Math.floor(span.fromMs / MINUTE), Math.ceil(span.toMs / MINUTE)] as const
  const told = newAlarm.value
  useEffect(() => {
    let over = false
    void getJournal(Math.max(0, span.fromMs - BEFORE_MS), rough[2] * MINUTE, MOST_EVENTS, site).then((r) => !over && r.ok && (events.value = r.body.events))
    return () => {
      over = true
    }
  }, [...rough, told])
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
    void Promise.all(asked.map((s) => getCourse(site, s.id, span.fromMs, span.toMs))).then((answers) => {
      if (over) return
      const wrong = answers.find((a) => !a.ok)
      fault.value = wrong && !wrong.ok ? wrong.message : ''
      courses.value = new Map(answers.flatMap((a) => (a.ok ? [[a.body.signal, a.body] as const] : [])))
    })
    return () => {
      over = true
    }
  }, [site, asked.map((s) => s.id).join(','), Math.round(span.fromMs / step), Math.round(span.toMs / step)])
  return { courses, fault }
}
