/**
 * A reading: one value of one signal, with how far it can be believed and its two times.
 *
 * `key` is `<site>/<signal>`. `sourceMs` is when the instrument took it, `receivedMs` when we got it, both ms since
 * 1970 UTC. `value` is null exactly when there is no figure (`bad` with a reason in `sub`); it is always finite.
 */
export type Quality = 'good' | 'uncertain' | 'bad'

/** Why a reading is not plainly good. */
export type QualitySub =
  | 'ok'
  | 'local_override'
  | 'maintenance_due'
  | 'qc_suspect'
  | 'last_usable'
  | 'substitute'
  | 'initial'
  | 'not_accurate'
  | 'eu_exceeded'
  | 'subnormal'
  | 'clock_suspect'
  | 'config_error'
  | 'not_connected'
  | 'device_failure'
  | 'sensor_failure'
  | 'comm_error'
  | 'no_comm'
  | 'out_of_service'
  | 'missing'

/** ok: the stamp is plausible. suspect: it is not, so `sourceMs` holds `receivedMs`. none: the sender gave no time. */
export type ClockState = 'ok' | 'suspect' | 'none'

/** QARTOD flag: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing. */
export type QcFlag = 1 | 2 | 3 | 4 | 9

export interface Reading {
  readonly key: string
  readonly sourceMs: number
  readonly receivedMs: number
  readonly value: number | null
  readonly quality: Quality
  readonly sub: QualitySub
  readonly qc: QcFlag
  readonly clock: ClockState
  /** false: older than the newest already judged, or taken from a store-and-forward burst; never raises an alarm, never shown as now. */
  readonly live: boolean
  /** Of a computed value, where one can be given: eight times in ten the truth lies within; `high` null: nothing bounds it. Not stored. */
  readonly interval?: { readonly low: number; readonly high: number | null }
}

export const keyOf = (site: string, signal: string): string => `${site}/${signal}`
export const siteOfKey = (key: string): string => key.slice(0, key.indexOf('/'))
export const signalOfKey = (key: string): string => key.slice(key.indexOf('/') + 1)
