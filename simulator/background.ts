/** The fill behind a live run: helper processes that share the sites between them, and what is said and kept of how far they are. */
import { fork, type ChildProcess } from 'node:child_process'
import { availableParallelism } from 'node:os'
import { fileURLToPath } from 'node:url'
import { isOver, withTold, type FillState } from './fill-state.ts'
import type { FromFill, ToFill } from './fill-main.ts'

export interface BackgroundOptions {
  /** What all helpers are told alike. */
  readonly begin: Omit<ToFill & { readonly kind: 'begin' }, 'kind' | 'sites' | 'told' | 'fromMs' | 'toMs'>
  readonly state: FillState
  readonly keep: (state: FillState) => void
  /** The live readings have arrived. */
  readonly heard: Promise<void>
  readonly nowMs: () => number
  readonly say: (line: string) => void
}

export interface Background {
  stop(): Promise<void>
}

const KEEP_MS = 1000
const SAY_PCT = 5
const MOST_HELPERS = 2

/** Begins at once; what it tells waits for `heard`. */
export function startBackground(o: BackgroundOptions): Background {
  let { state } = o
  let stopped = false
  let keptMs = Number.NEGATIVE_INFINITY
  let saidPct = -1
  const sites = Object.keys(state.sites)
  const days = (state.toMs - state.fromMs) / 86_400_000
  const helpers = Math.min(MOST_HELPERS, availableParallelism(), sites.length)
  const beganMs = o.nowMs()
  const beganShare = state.share
  let sending = false
  void o.heard.then(
    () => {
      sending = true
      send({ kind: 'live' })
    },
    () => undefined,
  )

  const children = Array.from({ length: helpers }, (_, i): ChildProcess => {
    const own = sites.filter((_, k) => k % helpers === i)
    const child = fork(fileURLToPath(new URL('fill-main.ts', import.meta.url)), { execArgv: process.execArgv, stdio: ['ignore', 'ignore', 'inherit', 'ipc'] })
    child.send({ ...o.begin, kind: 'begin', fromMs: state.fromMs, toMs: state.toMs, sites: own, told: Object.fromEntries(own.map((s) => [s, state.sites[s]])) } as ToFill)
    child.on('message', (m: FromFill) => heard(m, child))
    child.on('exit', (code, signal) => {
      if (!stopped && code !== 0) o.say(`the past of ${own.join(', ')} could not be told to its end (${signal ?? `code ${code}`}): start again to go on`)
    })
    child.on('error', () => undefined)
    return child
  })

  function send(m: ToFill): void {
    for (const child of children) if (child.connected) child.send(m)
  }

  function heard(m: FromFill, child: ChildProcess): void {
    if (m.kind === 'say') o.say(m.line)
    else if (m.kind === 'told') {
      state = withTold(state, m.site, m.told)
      const pct = Math.floor(100 * state.share)
      if (pct >= saidPct + SAY_PCT && pct < 100) {
        saidPct = pct - (pct % SAY_PCT)
        o.say(`filled ${pct} % of ${days < 2 ? `${Math.round(days * 24 * 10) / 10} hours` : `${Math.round(days)} days`} behind the live readings${left()}`)
      }
      if (o.nowMs() - keptMs >= KEEP_MS) keep()
    } else {
      child.disconnect()
      if (m.dropped > 0) o.say(`${m.dropped} messages of the past were dropped: the broker did not take them`)
      if (isOver(state) && state.doneMs === null) {
        state = { ...state, share: 1, doneMs: o.nowMs() }
        o.say(`filled 100 % in ${Math.round((o.nowMs() - beganMs) / 1000)} s`)
      }
      keep()
    }
  }

  function left(): string {
    const done = state.share - beganShare
    return sending && done > 0.1 ? `, about ${Math.ceil(((o.nowMs() - beganMs) * (1 - state.share)) / done / 1000)} s left` : ''
  }

  function keep(): void {
    keptMs = o.nowMs()
    o.keep(state)
  }

  return {
    async stop() {
      stopped = true
      if (state.doneMs === null) keep()
      await Promise.all(
        children.map(async (child) => {
          if (child.exitCode !== null || child.signalCode !== null) return
          const gone = new Promise<void>((done) => child.once('exit', () => done()))
          child.kill('SIGKILL')
          await gone
        }),
      )
    },
  }
}
