/** One loop's page: what the server told once, with the newest readings and alarms laid over it. */
import { computed, signal, type ReadonlySignal } from '@preact/signals'
import type { EntryBody, LoopDetailBody, SignalBody, ValueTuple } from '../../server/wire.ts'
import { loopSignal, newEntry, values } from './store.ts'

export interface Detail {
  readonly body: ReadonlySignal<LoopDetailBody | null>
  readonly signals: ReadonlySignal<readonly SignalBody[]>
  readonly log: ReadonlySignal<readonly EntryBody[]>
  set(body: LoopDetailBody): void
}

const withValue = (s: SignalBody, v: ValueTuple | undefined): SignalBody =>
  v && (s.sourceMs === null || v[4] >= s.sourceMs) ? { ...s, value: v[1], quality: v[2], sub: v[3], sourceMs: v[4], receivedMs: v[5] } : s

export function createDetail(site: string): Detail {
  const base = signal<LoopDetailBody | null>(null)
  const body = computed(() => {
    const live = loopSignal(site)?.value
    return base.value && live ? { ...base.value, ...live } : base.value
  })
  const signals = computed(() => {
    const of = values.value.get(site)
    return (base.value?.signals ?? []).map((s) => withValue(s, of?.get(s.id)))
  })
  const log = computed(() => {
    const told = base.value?.log ?? []
    const fresh = newEntry.value
    return fresh && fresh.site === site && !told.some((e) => e.id === fresh.id) ? [fresh, ...told] : told
  })
  return { body, signals, log, set: (b) => (base.value = b) }
}
