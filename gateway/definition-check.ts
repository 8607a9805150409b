/**
 * Once a day: are the alarms that are watched those that default, site files and changes say? Each loop's file is read from disk and
 * each change from the database anew, one loop at a time, and the alarms made of them are compared with those at work. What differs is looked
 * at a second time, because a file may just be changing; what still differs is told.
 */
import type { AlarmDef } from './alarms/alarm.ts'
import { definitionsOf, type Layers } from './alarms/changes.ts'
import { same } from './alarms/same.ts'
import type { Clock } from './clock.ts'
import type { Counter } from './port.ts'
import type { Site } from './site/site.ts'

export interface DefinitionCheckParts {
  readonly clock: Clock
  readonly sites: () => Iterable<string>
  /** The site as its file says now; null: no file of it can be read, and its last good version is in force. */
  readonly read: (site: string) => Site | null
  /** From the database. */
  readonly layers: () => Promise<Layers>
  /** Alarms at work. */
  readonly live: (site: string) => readonly AlarmDef[]
}

export interface DefinitionCheck {
  /** Looks at one more loop, if a round is due. Every few seconds; never rejects. */
  tick(): Promise<void>
  counters(): readonly Counter[]
  troubles(): readonly string[]
}

const EVERY_MS = 86_400_000
/** The first round begins so long after the start. */
const FIRST_MS = 60_000
/** A second look comes so long after the first: site files are followed within seconds. */
const AGAIN_MS = 30_000

export function createDefinitionCheck(parts: DefinitionCheckParts): DefinitionCheck {
  const { clock } = parts
  let nextMs = clock.steadyMs() + FIRST_MS
  let round: {
    readonly layers: Layers
    readonly left: string[]
    readonly again: string[]
    second: boolean
    fromMs: number
    looked: number
    readonly found: Map<string, string[]>
  } | null = null
  let last: { readonly looked: number; readonly found: ReadonlyMap<string, readonly string[]> } | null = null
  let failed: string | null = null
  let busy = false

  async function step(): Promise<void> {
    const nowMs = clock.steadyMs()
    if (!round) {
      if (nowMs < nextMs) return
      nextMs = nowMs + EVERY_MS
      round = { layers: await parts.layers(), left: [...parts.sites()], again: [], second: false, fromMs: nowMs, looked: 0, found: new Map() }
    }
    if (nowMs < round.fromMs) return
    const site = round.left.shift()
    if (site !== undefined) {
      const differing = differences(site, round.second ? await parts.layers() : round.layers)
      if (!round.second) round.looked++
      if (differing.length > 0) {
        if (round.second) round.found.set(site, differing)
        else round.again.push(site)
      }
      return
    }
    if (!round.second && round.again.length > 0) {
      round.second = true
      round.fromMs = nowMs + AGAIN_MS
      round.left.push(...round.again)
      return
    }
    last = { looked: round.looked, found: round.found }
    round = null
  }

  function differences(id: string, layers: Layers): string[] {
    const site = parts.read(id)
    if (!site) return []
    const own = new Map([...layers].filter(([alarm]) => alarm.startsWith(`${id}/`)))
    const should = new Map(definitionsOf(site, own).defs.map((d) => [d.id, d]))
    const is = new Map(parts.live(id).map((d) => [d.id, d]))
    // All that is said of an alarm counts, but for its version.
    return [...new Set([...should.keys(), ...is.keys()])].filter((alarm) => !same({ ...should.get(alarm), version: 0 }, { ...is.get(alarm), version: 0 }))
  }

  return {
    async tick() {
      if (busy) return
      busy = true
      try {
        await step()
        failed = null
      } catch (e) {
        failed = e instanceof Error ? e.message : String(e)
        round = null
      } finally {
        busy = false
      }
    },
    counters: () => [
      { name: 'alarmLoopsCompared', value: last?.looked ?? 0, what: 'Loops whose alarms at work were compared with default, site file and changes, in the newest daily check.' },
      {
        name: 'alarmsDiffering',
        value: [...(last?.found.values() ?? [])].flat().length,
        what: 'Alarms at work that were not what default, site file and changes say, in the newest daily check. 0 is right.',
      },
    ],
    troubles: () => [
      ...(failed === null ? [] : [`The daily comparison of alarms with their definitions has failed: ${failed}.`]),
      ...[...(last?.found ?? [])].map(
        ([site, alarms]) =>
          `${alarms.length === 1 ? 'An alarm' : `${alarms.length} alarms`} of ${site} ${alarms.length === 1 ? 'is' : 'are'} not watched as default, site file and changes say: ${alarms.slice(0, 5).join(', ')}${alarms.length > 5 ? ' and more' : ''}. Start the gateway again, which defines them anew, and report this.`,
      ),
    ],
  }
}
