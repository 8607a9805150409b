/** Requests to the server. A refusal comes back as words that can be shown; a missing sign-in changes the page. */
import { signal } from '@preact/signals'
import {
  adoptedBody,
  alarmBody,
  dueBody,
  callBody,
  faultBody,
  fleetDueBody,
  forecastsBody,
  healthBody,
  courseBody,
  historyBody,
  journalBody,
  logBody,
  loopDetailBody,
  machinesBody,
  normalBody,
  quarantineBody,
  setAsideBody,
  rulesBody,
  trafficBody,
  unassignedBody,
  type AdoptedBody,
  type AdoptRequest,
  type AlarmBody,
  type DueBody,
  type CallBody,
  type EntryBody,
  type FleetDueBody,
  type ForecastsBody,
  type HealthBody,
  type CourseBody,
  type HistoryBody,
  type JournalBody,
  type LoopDetailBody,
  type MachinesBody,
  type NormalBody,
  type OutOfServiceRequest,
  type QuarantineBody,
  type SetAsideBody,
  type ShelveRequest,
  type RulesBody,
  type TrafficBody,
  type UnassignedBody,
  type LoopStateBody,
  type PersonBody,
  type StateHistoryBody,
  loopStateBody,
  personBody,
  stateHistoryBody,
  yardLinkBody,
  yardLinkMadeBody,
  type YardLinkBody,
  type YardLinkMadeBody,
} from '../../server/wire.ts'

import { inUnits } from '../state/in-units.ts'
import { unitSystem } from '../state/unit-choice.ts'

export type Answer<T> = { readonly ok: true; readonly body: T } | { readonly ok: false; readonly status: number; readonly code: string; readonly message: string }

/** True when the server has said that nobody is signed in here. */
export const signedOut = signal(false)

interface Reader<T> {
  safeParse(v: unknown): { success: true; data: T } | { success: false }
}

export async function ask<T>(path: string, reader: Reader<T>, init?: RequestInit): Promise<Answer<T>> {
  let response: Response
  try {
    response = await fetch(path, { credentials: 'same-origin', ...init })
  } catch {
    return { ok: false, status: 0, code: 'no-link', message: 'No link to the server. What is shown may be old.' }
  }
  const body: unknown = await response.json().catch(() => null)
  if (!response.ok) {
    if (response.status === 401) signedOut.value = true
    const fault = faultBody.safeParse(body)
    return { ok: false, status: response.status, ...(fault.success ? fault.data : { code: 'unknown', message: `The server answered ${response.status}.` }) }
  }
  const parsed = reader.safeParse(body)
  return parsed.success
    ? { ok: true, body: parsed.data }
    : { ok: false, status: response.status, code: 'shape', message: 'The server answered something this page does not understand: load the page again.' }
}

const units = inUnits(unitSystem)
/** Live messages in the units of the reader; the loop's own answer tells which unit each signal has. */
export const messageInUnits = units.message

/** As `reader`, then turned into the units of the reader. */
const turnedBy = <T>(reader: Reader<T>, turn: (body: T) => T): Reader<T> => ({
  safeParse(v) {
    const parsed = reader.safeParse(v)
    return parsed.success ? { success: true, data: turn(parsed.data) } : parsed
  },
})
const alarmIn = turnedBy<AlarmBody>(alarmBody, units.alarm)

const q = encodeURIComponent
export const post = (body: unknown): RequestInit => ({ method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) })

export const getLoop = (site: string): Promise<Answer<LoopDetailBody>> => ask(`/api/loops/${q(site)}`, turnedBy(loopDetailBody, units.detail))
export const getForecasts = (site: string): Promise<Answer<ForecastsBody>> => ask(`/api/loops/${q(site)}/forecasts`, turnedBy(forecastsBody, units.forecasts))
export const getNormal = (site: string): Promise<Answer<NormalBody>> => ask(`/api/loops/${q(site)}/normal`, turnedBy(normalBody, units.normal))
export const getDue = (site: string): Promise<Answer<DueBody>> => ask(`/api/loops/${q(site)}/due`, dueBody)
export const getFleetDue = (): Promise<Answer<FleetDueBody>> => ask('/api/due', fleetDueBody)
export const getRules = (site: string): Promise<Answer<RulesBody>> => ask(`/api/rules/${q(site)}`, rulesBody)
export const getMachines = (site: string): Promise<Answer<MachinesBody>> => ask(`/api/machines/${q(site)}`, machinesBody)
export const getHealth = (): Promise<Answer<HealthBody>> => ask('/api/health', healthBody)
export const getQuarantine = (): Promise<Answer<QuarantineBody>> => ask('/api/quarantine', quarantineBody)
export const getUnassigned = (): Promise<Answer<UnassignedBody>> => ask('/api/unassigned', unassignedBody)
export const getTraffic = (): Promise<Answer<TrafficBody>> => ask('/api/traffic', trafficBody)
export const getAlarm = (id: string): Promise<Answer<AlarmBody>> => ask(`/api/alarms/${q(id)}`, alarmIn)
export const getCall = (id: string): Promise<Answer<CallBody>> => ask(`/api/alarms/${q(id)}/call`, callBody)
export const getJournal = (fromMs: number, toMs: number, limit: number, site?: string): Promise<Answer<JournalBody>> =>
  ask(`/api/journal?from=${Math.round(fromMs)}&to=${Math.round(toMs)}&limit=${limit}${site === undefined ? '' : `&site=${q(site)}`}`, turnedBy(journalBody, units.journal))
export const getHistory = (site: string, signalId: string, fromMs: number, toMs: number, points: number): Promise<Answer<HistoryBody>> =>
  ask(`/api/history/${q(site)}/${q(signalId)}?from=${Math.round(fromMs)}&to=${Math.round(toMs)}&points=${points}`, turnedBy(historyBody, units.history))
export const getCourse = (site: string, signalId: string, fromMs: number, toMs: number): Promise<Answer<CourseBody>> =>
  ask(`/api/history/${q(site)}/${q(signalId)}/course?from=${Math.round(fromMs)}&to=${Math.round(toMs)}`, turnedBy(courseBody, units.course))
export const getLog = (site: string, fromMs: number, toMs: number): Promise<Answer<{ entries: EntryBody[] }>> =>
  ask(`/api/log?site=${q(site)}&from=${Math.round(fromMs)}&to=${Math.round(toMs)}`, logBody)

/** Acknowledges the occurrence the person saw; 409 when it has moved on meanwhile. */
export const acknowledge = (a: AlarmBody, note?: string): Promise<Answer<AlarmBody>> =>
  ask(`/api/alarms/${q(a.id)}/acknowledge`, alarmIn, post({ occurrence: a.occurrence, version: a.version, ...(note && { note }) }))

export const getYardLink = (site: string): Promise<Answer<YardLinkBody>> => ask(`/api/loops/${q(site)}/yard-link`, yardLinkBody)
export const makeYardLink = (site: string): Promise<Answer<YardLinkMadeBody>> => ask(`/api/loops/${q(site)}/yard-link`, yardLinkMadeBody, { method: 'POST' })
export const withdrawYardLink = (site: string): Promise<Answer<YardLinkBody>> => ask(`/api/loops/${q(site)}/yard-link/withdraw`, yardLinkBody, { method: 'POST' })

/** Asks who is signed in; a refusal changes the page by itself. */
export const amSignedIn = (): Promise<Answer<unknown>> => ask('/api/me', { safeParse: (v) => ({ success: true, data: v }) })

/** Lets a latched alarm go. */
export const reset = (a: AlarmBody): Promise<Answer<AlarmBody>> => ask(`/api/alarms/${q(a.id)}/reset`, alarmIn, post({ occurrence: a.occurrence, version: a.version }))

export const getSetAside = (): Promise<Answer<SetAsideBody>> =>
  ask(
    '/api/set-aside',
    turnedBy(setAsideBody, (b) => ({ ...b, alarms: b.alarms.map(units.alarm) })),
  )

/** The four below name the version the person saw; refused, with who did what, when somebody else has acted since. */
const lay = (a: AlarmBody, verb: string, body: object = {}): Promise<Answer<AlarmBody>> => ask(`/api/alarms/${q(a.id)}/${verb}`, alarmIn, post({ version: a.version, ...body }))
export const shelve = (a: AlarmBody, shelf: Omit<ShelveRequest, 'version'>): Promise<Answer<AlarmBody>> => lay(a, 'shelve', shelf)
export const unshelve = (a: AlarmBody): Promise<Answer<AlarmBody>> => lay(a, 'unshelve')
export const outOfService = (a: AlarmBody, request: Omit<OutOfServiceRequest, 'version'>): Promise<Answer<AlarmBody>> => lay(a, 'out-of-service', request)
export const inService = (a: AlarmBody): Promise<Answer<AlarmBody>> => lay(a, 'in-service')

export const addEntry = (entry: object): Promise<Answer<unknown>> => ask('/api/log', { safeParse: (v) => ({ success: true, data: v }) }, post(entry))

/** Takes an unassigned signal into the file of its site. */
export const adoptSignal = (a: AdoptRequest): Promise<Answer<AdoptedBody>> => ask('/api/unassigned/adopt', adoptedBody, post(a))

export const getMe = (): Promise<Answer<PersonBody>> => ask('/api/me', personBody)
export const getState = (site: string): Promise<Answer<StateHistoryBody>> => ask(`/api/loops/${q(site)}/state`, stateHistoryBody)

/** Says that one is on site; again to put off the end. */
export const checkIn = (site: string, body: { until?: string; why?: string }): Promise<Answer<LoopStateBody>> => ask(`/api/loops/${q(site)}/check-in`, loopStateBody, post(body))
export const checkOut = (site: string, body: { person?: string; note?: string }): Promise<Answer<LoopStateBody>> =>
  ask(`/api/loops/${q(site)}/check-out`, loopStateBody, post(body))
export const setState = (site: string, body: { state: string; until?: string; why?: string }): Promise<Answer<LoopStateBody>> =>
  ask(`/api/loops/${q(site)}/state`, loopStateBody, post(body))
export const endState = (site: string, state: string): Promise<Answer<LoopStateBody>> => ask(`/api/loops/${q(site)}/state/end`, loopStateBody, post({ state }))
