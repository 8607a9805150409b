/** The one socket to the server: comes back by itself, tells the store, and says when nothing has been heard for too long. */
import { effect, signal } from '@preact/signals'
import { CLOSED_SIGNED_OUT, liveMessage, LIVE_PATH } from '../../server/wire.ts'
import { onClose, onMessage, onTick, opened, retryMs, type LinkState } from '../state/link.ts'
import { heard, now, take } from '../state/store.ts'
import { amSignedIn, messageInUnits, signedOut } from './api.ts'

const watched = signal<ReadonlyMap<string, number>>(new Map())

/** Asks for every reading of these sites while the caller lives; gives the way to stop asking. */
export function watch(sites: readonly string[]): () => void {
  const change = (by: number): void => {
    const next = new Map(watched.peek())
    for (const s of sites) {
      const n = (next.get(s) ?? 0) + by
      if (n > 0) next.set(s, n)
      else next.delete(s)
    }
    watched.value = next
  }
  change(1)
  return () => change(-1)
}

/** Opens the link; call once. */
export function startLive(): void {
  let link: LinkState = opened(Date.now())
  let socket: WebSocket | null = null
  /** Server time less this browser's, ms: ages must not depend on the clock of a phone. */
  let aheadMs = 0
  /** The server went away on purpose and asked for this much patience. */
  let awayMs = 0

  const show = (serverMs: number | null, more: number): void => {
    const was = heard.peek()
    heard.value = { state: link.lost ? 'lost' : link.open ? 'live' : 'connecting', serverMs: serverMs ?? was.serverMs, messages: was.messages + more }
  }
  const ask = (sites: ReadonlyMap<string, number>): void => {
    if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ t: 'watch', values: [...sites.keys()].slice(0, 50) }))
  }
  const open = (): void => {
    if (signedOut.peek()) return
    const s = new WebSocket(`${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}${LIVE_PATH}`)
    socket = s
    s.onopen = () => ask(watched.peek())
    s.onmessage = (e: MessageEvent<string>) => {
      const m = liveMessage.safeParse(JSON.parse(e.data))
      if (!m.success) return
      link = onMessage(link, Date.now())
      if (m.data.t === 'away') {
        awayMs = m.data.afterMs
        return
      }
      aheadMs = m.data.nowMs - Date.now()
      now.value = m.data.nowMs
      take(messageInUnits(m.data))
      show(m.data.nowMs, 1)
    }
    s.onclose = (e) => {
      if (socket !== s) return
      link = onClose(link)
      show(null, 0)
      if (e.code === CLOSED_SIGNED_OUT) signedOut.value = true
      else {
        // A refused handshake gives no reason to a page: ask one that does.
        if (link.tries > 1) void amSignedIn()
        setTimeout(open, Math.max(awayMs, retryMs(link, Math.random())))
        awayMs = 0
      }
    }
  }
  effect(() => ask(watched.value))
  effect(() => {
    // Signed in again: the closed socket must not wait for its next try.
    if (!signedOut.value && socket?.readyState === WebSocket.CLOSED) open()
  })
  now.value = Date.now()
  setInterval(() => {
    now.value = Date.now() + aheadMs
    const next = onTick(link, Date.now())
    if (next !== link) {
      link = next
      show(null, 0)
      // A socket that says nothing is of no use, even if it calls itself open.
      socket?.close()
    }
  }, 1000)
  open()
}
