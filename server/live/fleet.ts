/**
 * The fleet as text, loop by loop, with the turn in which each last changed. As with values, nothing is queued per browser:
 * what a browser has not seen is read off here, and browsers that have seen the same share the same bytes.
 */
import type { GatewayPort } from '../../gateway/port.ts'
import { fleetBodies } from '../bodies/fleet.ts'
import { helloFrame, loopsFrame } from './frames.ts'

export interface Fleet {
  /** Something of this loop changed. `now`: the next hello must have it; `soon`: the next turn has it, that is early enough. */
  touch(site: string, when: 'now' | 'soon'): void
  /** Rewrites what changed. Every beat, so that no turn has the work of a second to do at once. */
  work(nowMs: number): void
  /** Begins the next turn; gives its number. */
  next(): number
  /** Loops that changed after turn `seen`; null: none. */
  since(seen: number, nowMs: number): Buffer | null
  /**
   * The whole fleet, and the turn it counts as: what changes later is told as a change. Kept until the next turn, so that a
   * hundred screens that come back together cost one.
   */
  hello(nowMs: number, version: string): { readonly frame: Buffer; readonly turn: number }
}

/** Every loop is judged anew within this many beats, because a level turns stale without anything happening: 10 s. */
const ROUND = 40

export function createFleet(gateway: GatewayPort): Fleet {
  const texts = new Map<string, string>()
  const changed = new Map<string, number>()
  const touched = new Set<string>()
  let turn = 0
  let beat = 0
  let greeted = false
  let made = new Map<number, Buffer | null>()
  let greeting: { readonly frame: Buffer; readonly turn: number } | null = null

  const rewrite = (sites: Iterable<string>, nowMs: number): void => {
    // Before the first hello nothing is news: whoever comes gets it as a hello.
    const stamp = greeted ? turn + 1 : turn
    const states = [...sites].map((id) => gateway.site(id)).filter((s) => s !== null)
    for (const body of fleetBodies(gateway, states, nowMs)) {
      const text = JSON.stringify(body)
      if (texts.get(body.id) === text) continue
      texts.set(body.id, text)
      changed.set(body.id, stamp)
    }
  }
  const settle = (nowMs: number): void => {
    if (touched.size === 0) return
    rewrite(touched, nowMs)
    touched.clear()
  }

  return {
    touch(site, when) {
      touched.add(site)
      if (when === 'now') greeting = null
    },
    work(nowMs) {
      beat++
      gateway.sites().forEach((s, i) => {
        if (i % ROUND === beat % ROUND) touched.add(s.site.id)
      })
      settle(nowMs)
    },
    next() {
      turn++
      made = new Map()
      greeting = null
      return turn
    },
    since(seen, nowMs) {
      const known = made.get(seen)
      if (known !== undefined) return known
      const news: string[] = []
      for (const [site, at] of changed) if (at > seen) news.push(texts.get(site) ?? '')
      const frame = news.length === 0 ? null : loopsFrame(nowMs, news)
      made.set(seen, frame)
      return frame
    },
    hello(nowMs, version) {
      if (greeting) return greeting
      for (const s of gateway.sites()) if (!texts.has(s.site.id)) touched.add(s.site.id)
      settle(nowMs)
      greeting = { frame: helloFrame(nowMs, version, gateway.troubles(), texts.values()), turn }
      greeted = true
      return greeting
    },
  }
}
