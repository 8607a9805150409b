/** What the forwarder asks of whoever carries its lines, and how an answer of HTTP is read. */

/**
 * down: nothing is known of the lines, send them again later. refused: the server took some or none and will not take the rest,
 * `dropped` of them when it says how many. setup: it will take nothing until a person changes a setting.
 */
export type Sent = { readonly ok: true } | { readonly ok: false; readonly kind: 'down' | 'refused' | 'setup'; readonly message: string; readonly dropped: number | null }

export interface LineSender {
  /** For a sentence: which server. */
  readonly name: string
  /** Sends lines in one request. Never rejects, always settles. */
  send(lines: string): Promise<Sent>
  close(): void
}

/** Reads any answer but a plain yes. A partial write is HTTP 400 (1.x) or 400 and 422 (2.x). */
export function refusedAnswer(status: number, body: string): Sent {
  const message = `HTTP ${status}: ${messageOf(body)}`
  if (status === 400 || status === 413 || status === 422) {
    const dropped = /dropped=(\d+)/.exec(body)?.[1]
    return { ok: false, kind: 'refused', message, dropped: dropped === undefined ? null : Number(dropped) }
  }
  return { ok: false, kind: status === 401 || status === 403 || status === 404 ? 'setup' : 'down', message, dropped: null }
}

function messageOf(body: string): string {
  try {
    const json: unknown = JSON.parse(body)
    if (typeof json === 'object' && json !== null) {
      if ('error' in json && typeof json.error === 'string') return json.error.slice(0, 500)
      if ('message' in json && typeof json.message === 'string') return json.message.slice(0, 500)
    }
  } catch {
    // Not JSON: shown as it is.
  }
  return body.trim().slice(0, 500)
}
