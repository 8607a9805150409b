/** What the page knows, one signal per loop so that a change redraws one ring. Filled by link/live.ts, read by views. */
import { batch, computed, signal, type Signal } from '@preact/signals'
import type { AlarmBody, EntryBody, LiveMessage, LoopBody, ValueTuple } from '../../server/wire.ts'
import { areas } from './fleet.ts'

export interface Heard {
  readonly state: 'connecting' | 'live' | 'lost'
  /** Server time of its newest message, ms; null: none yet. */
  readonly serverMs: number | null
  /** Messages since the page was opened: the drop of the mark steps with each. */
  readonly messages: number
}

export const heard = signal<Heard>({ state: 'connecting', serverMs: null, messages: 0 })
/** Changes when the link is lost or back; `heard` changes with every message, and would redraw every ring with it. */
export const lost = computed(() => heard.value.state === 'lost')
/** The server's time now, as well as the page can tell; steps once a second. */
export const now = signal(0)
/** The same in whole minutes, for what shows no seconds: it changes sixty times less often. */
export const minute = computed(() => Math.floor(now.value / 60_000) * 60_000)
export const version = signal('')
/** What is wrong with the product itself, sentences, worst first. */
export const troubles = signal<readonly string[]>([])

const loops = new Map<string, Signal<LoopBody>>()
const ids = signal<readonly string[]>([])
/** Steps when a loop gets another name or area. */
const named = signal(0)
/** True once the whole fleet has been told. */
export const told = signal(false)

export const loopSignal = (id: string): Signal<LoopBody> | null => {
  // Read for its subscription: a loop may come or go with the next hello.
  return ids.value.includes(id) ? (loops.get(id) ?? null) : null
}
export const allLoops = computed<readonly LoopBody[]>(() => ids.value.flatMap((id) => loops.get(id)?.value ?? []))
/** Where each loop stands in the field: by area, then by name. Does not change with what the loops do. */
export const fieldPlaces = computed(() => {
  void named.value
  return areas(
    ids.value.flatMap((id) => {
      const l = loops.get(id)?.peek()
      return l ? [{ id, name: l.name, area: l.area }] : []
    }),
  )
})
export const allAlarms = computed<readonly AlarmBody[]>(() => allLoops.value.flatMap((l) => l.alarms))

/** Newest readings of the loops being looked at, `site` -> signal id -> tuple. */
export const values = signal<ReadonlyMap<string, ReadonlyMap<string, ValueTuple>>>(new Map())
/** Newest site-log entry told, so that a view can add it. */
export const newEntry = signal<EntryBody | null>(null)
/** Newest alarm change told, for the live region and the trend's rail. */
export const newAlarm = signal<{ readonly event: string; readonly alarm: AlarmBody } | null>(null)

/** Steps when alarms of a loop were defined anew. */
export const newDefinitions = signal<{ readonly site: string; readonly atMs: number } | null>(null)

function put(all: readonly LoopBody[]): void {
  for (const l of all) {
    const known = loops.get(l.id)
    if (known) {
      if (known.peek().name !== l.name || known.peek().area !== l.area) named.value++
      known.value = l
    } else loops.set(l.id, signal(l))
  }
  if (loops.size !== ids.value.length) ids.value = [...loops.keys()]
}

/** Takes one message of the server. */
export function take(m: LiveMessage): void {
  batch(() => {
    switch (m.t) {
      case 'hello': {
        const there = new Set(m.loops.map((l) => l.id))
        for (const id of loops.keys()) if (!there.has(id)) loops.delete(id)
        version.value = m.version
        troubles.value = m.troubles
        put(m.loops)
        ids.value = [...loops.keys()]
        told.value = true
        break
      }
      case 'loops':
        put(m.loops)
        break
      case 'values': {
        const of = new Map(values.value.get(m.site) ?? [])
        for (const v of m.values) of.set(v[0], v)
        values.value = new Map(values.value).set(m.site, of)
        break
      }
      case 'alarm': {
        const loop = loops.get(m.alarm.site)
        if (loop) {
          const others = loop.value.alarms.filter((a) => a.id !== m.alarm.id)
          loop.value = { ...loop.value, alarms: m.alarm.state === 'normal' || m.alarm.shown !== m.alarm.state ? others : [...others, m.alarm] }
        }
        newAlarm.value = { event: m.event, alarm: m.alarm }
        break
      }
      case 'entry':
        newEntry.value = m.entry
        break
      case 'defined':
        newDefinitions.value = { site: m.site, atMs: m.nowMs }
        break
      case 'beat':
        if (m.troubles.join('\n') !== troubles.value.join('\n')) troubles.value = m.troubles
        break
      case 'away':
        break
    }
  })
}
