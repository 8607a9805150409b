/**
 * What vitals remember between readings, as plain data under names, so that it can be written down and taken up again after a restart. All of
 * it is bounded: rings and lists say their bound where they are made.
 */
export interface Memory {
  /** The state of that name: as kept, or fresh. Each name is asked for once. */
  of<T extends object>(name: string, fresh: () => T): T
  keep(): Kept
}

/** JSON. `form` is raised when states change their shape; another form is not taken up. */
export interface Kept {
  readonly form: number
  readonly states: Readonly<Record<string, object>>
}

const FORM = 1

export function createMemory(kept: Kept | null): Memory {
  const old = kept && kept.form === FORM ? kept.states : {}
  const states: Record<string, object> = {}
  return {
    of<T extends object>(name: string, fresh: () => T): T {
      const was = Object.hasOwn(old, name) ? old[name] : undefined
      // Written by keep() of the same form: the one place where a state is believed to be what it was.
      const state = was === undefined ? fresh() : (structuredClone(was) as T)
      states[name] = state
      return state
    },
    keep: () => ({ form: FORM, states }),
  }
}
