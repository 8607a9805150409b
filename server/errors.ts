/**
 * Every way a request can be refused: one table of code, status and sentence. The sentence says what the code means; the
 * message that travels with it says what was wrong this time. A test holds the OpenAPI description against this table.
 */
export const FAULTS = {
  'bad-request': { status: 400, sentence: 'A field is missing, unknown or out of range; the message names it, the value found and what would be right.' },
  'not-json': { status: 400, sentence: 'The body cannot be read as JSON.' },
  'bad-url': { status: 400, sentence: 'The path holds a broken %-sequence.' },
  'not-signed-in': { status: 401, sentence: 'No session cookie and no bearer token, or the session has ended.' },
  'bad-token': { status: 401, sentence: 'The bearer token is none of those in the token file.' },
  'link-not-valid': { status: 401, sentence: 'The sign-in link was used, is older than 15 minutes, or was never made here.' },
  'cross-origin': { status: 403, sentence: 'The request comes from a page of another origin.' },
  'unknown-path': { status: 404, sentence: 'There is nothing at this path.' },
  'unknown-loop': { status: 404, sentence: 'No loop has this id.' },
  'unknown-signal': { status: 404, sentence: 'The loop has no signal of this id.' },
  'unknown-alarm': { status: 404, sentence: 'No alarm has this id.' },
  'unknown-change': { status: 404, sentence: 'No change of an alarm has this number.' },
  'unknown-file': { status: 404, sentence: 'The folder of site files has no file of this name.' },
  'unknown-credential': { status: 404, sentence: 'The loop has no credential of the own broker.' },
  'wrong-method': { status: 405, sentence: 'The path exists, with other methods than this one.' },
  'request-timeout': { status: 408, sentence: 'The request did not arrive in time.' },
  'stale-occurrence': { status: 409, sentence: 'The alarm has since cleared or been raised anew: look at it again.' },
  'stale-version': { status: 409, sentence: 'The alarm has changed since it was shown: look at it again.' },
  'not-allowed': { status: 409, sentence: 'The alarm is in a state in which this cannot be done.' },
  'not-in-state': { status: 409, sentence: 'The loop is in a state in which this cannot be done, or it cannot be written down now.' },
  'not-changed': { status: 409, sentence: 'The alarm cannot be changed so, or not by this person alone; the message names the value and says what to do.' },
  'not-adopted': { status: 409, sentence: 'The signal cannot be taken into the site file; the message says why and what to do.' },
  'stale-file': { status: 409, sentence: 'The site file has changed since it was shown: look at it again.' },
  'not-saved': { status: 409, sentence: 'The site file cannot be saved so; the message names line and field and says what to do.' },
  'not-given': { status: 409, sentence: 'Credentials cannot be given out or withdrawn here; the message says why and what to do.' },
  'too-large': { status: 413, sentence: 'The body is larger than 64 KiB, or 512 KiB where a whole site file is sent.' },
  'not-our-media-type': { status: 415, sentence: 'The body is of a type this path does not take.' },
  'too-many-tries': { status: 429, sentence: 'Too many failed sign-ins from this address.' },
  'headers-too-large': { status: 431, sentence: 'The headers of the request are too large.' },
  internal: { status: 500, sentence: 'We failed. The failure is in the log of the server under the number given.' },
  'going-away': { status: 503, sentence: 'The server is stopping.' },
  'too-many-browsers': { status: 503, sentence: 'As many live connections are open as are allowed.' },
} as const satisfies Record<string, { readonly status: number; readonly sentence: string }>

export type FaultCode = keyof typeof FAULTS

/** A refusal with its reason: thrown by a route, answered as `{ code, message }` with the status of the table. */
export class Fault extends Error {
  readonly code: FaultCode
  readonly headers: Readonly<Record<string, string>>

  constructor(code: FaultCode, message: string, headers: Readonly<Record<string, string>> = {}) {
    super(message)
    this.code = code
    this.headers = headers
  }

  get status(): number {
    return FAULTS[this.code].status
  }
}

/** `value` as it may stand in a message: JSON, cut at 60 characters. */
export function shown(value: unknown): string {
  const text = JSON.stringify(value) ?? String(value)
  return text.length > 60 ? `${text.slice(0, 57)}...` : text
}

/** The first `most` of `names`, and how many more there are. */
export const listed = (names: readonly string[], most = 20): string => names.slice(0, most).join(', ') + (names.length > most ? ` and ${names.length - most} more` : '')
