/**
 * What may lie over an alarm: shelved by a person for a time, suppressed by design because another fact makes it meaningless,
 * or out of service while its instrument or machine is in repair. The condition goes on being judged below it and every change
 * is written down; nobody is told. Each of the three is a fact of its own, and several may lie over one alarm at once.
 */

export interface Shelf {
  /** Absolute: a restart changes nothing. */
  readonly untilMs: number
  /** Ends at the next return to normal, if that comes first. */
  readonly oneShot: boolean
  readonly by: string
  readonly reason: string
  readonly atMs: number
}

export interface Suppression {
  /** The rule that asks for it; for rules that start at an alarm the id of that alarm. */
  readonly ruleId: string
  readonly reason: string
  readonly atMs: number
  /** Its cause is gone and it ends then; null: its cause is still there. */
  readonly endsMs: number | null
  /** Who has answered the alarm that stood in its place, known when that one goes; null: nobody, or no alarm did. */
  readonly answeredBy: string | null
}

export interface OutOfService {
  readonly by: string
  readonly reason: string
  /** What is done meanwhile in place of the alarm. */
  readonly measure: string
  /** To be looked at again by then; passing it raises a trouble of the product and never brings the alarm back by itself. */
  readonly reviewMs: number
  readonly atMs: number
  /** The review date has passed, and that has been told. */
  readonly overdue: boolean
}

export interface Overlays {
  readonly shelved: Shelf | null
  readonly suppressed: Suppression | null
  readonly outOfService: OutOfService | null
}

export const NO_OVERLAY: Overlays = { shelved: null, suppressed: null, outOfService: null }

/** Something lies over it: its changes are written down and told to nobody. */
export const isHidden = (o: Overlays): boolean => o.shelved !== null || o.suppressed !== null || o.outOfService !== null

export const OVERLAY_STATES = ['out-of-service', 'suppressed', 'shelved'] as const
export type OverlayState = (typeof OVERLAY_STATES)[number]

/** What is shown of an alarm with several facts over it: the strongest one, else its own state. */
export function shownOf<S extends string>(o: Overlays, state: S): S | OverlayState {
  if (o.outOfService) return 'out-of-service'
  if (o.suppressed) return 'suppressed'
  return o.shelved ? 'shelved' : state
}

export interface ShelveRequest {
  readonly untilMs: number
  readonly oneShot: boolean
  readonly reason: string
}

export interface OutOfServiceRequest {
  readonly reason: string
  readonly measure: string
  readonly reviewMs: number
}

/** Why an alarm is suppressed by design. */
export interface SuppressedBy {
  readonly ruleId: string
  readonly reason: string
}
