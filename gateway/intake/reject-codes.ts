/**
 * Why intake refuses a message or a reading: one stable code each, with what it means and what to do. The codes are on the
 * health page and in the counters, so they never change their meaning.
 */
export interface RejectText {
  readonly means: string
  readonly todo: string
}

export const REJECT_CODES = {
  TOPIC: {
    means: 'The topic is not <prefix>/<site> or <prefix>/<site>/<signal>.',
    todo: 'Publish to <prefix>/<site> or <prefix>/<site>/<signal>; the parts of a signal are joined by dots, bio1.do.',
  },
  UNKNOWN_SITE: { means: 'No site file has this site id.', todo: 'Add a site file with this id, or correct the id the controller publishes under.' },
  UNKNOWN_SIGNAL: {
    means: 'The site is known, the signal is not in its site file.',
    todo: 'Add the signal to the site file, or stop sending it; unassigned signals are listed with their rate.',
  },
  WRONG_SITE: {
    means: 'The credential belongs to another site than the one in the topic.',
    todo: 'Give the controller the credential of its own site, or correct the site id in its topics.',
  },
  EMPTY: { means: 'The message has no content.', todo: 'Send a value; an empty message only clears a retained one and says nothing here.' },
  TOO_LARGE: { means: 'The message has more bytes than one message may have.', todo: 'Send fewer rows per message.' },
  TOO_MANY: { means: 'The message holds more readings than one message may hold.', todo: 'Send fewer rows per message.' },
  NOT_UTF8: { means: 'The bytes are not UTF-8 text.', todo: 'Send UTF-8: packed binary formats and other code pages are not read.' },
  NOT_JSON: { means: 'The text is not JSON.', todo: 'Check the controller’s message template with any JSON checker; the detail says near which character it stops making sense.' },
  SHAPE: {
    means: 'JSON, but not in one of the forms that are read.',
    todo: 'Use {"t":..., "signals":{...}} or {"rows":[...]} on the site topic, a number or {"v":...} on a signal topic.',
  },
  NOT_A_NUMBER: {
    means: 'The value is not a finite number, or true or false stands where a figure is needed.',
    todo: 'Send a plain number with a decimal point, and null when the instrument gives no figure.',
  },
  UNIT: {
    means: 'The unit sent is not that of the signal and cannot be turned into it.',
    todo: 'Send the figure in the unit of the site file, or a unit that can be converted; `npm run sites check` names those of a mapped signal.',
  },
  TIME: {
    means: 'The time cannot be read.',
    todo: 'Send RFC 3339 with a zone, 2026-03-01T10:00:00Z, or whole milliseconds since 1970 UTC; a clock without zone is declared in the site file (`clock`).',
  },
  SIGN_IN: {
    means: 'The own broker let a connection not in: user or password wrong, or too many failures from there within a minute.',
    todo: 'Make the credential anew with `npm run sites credential add`; after five failures wait a minute.',
  },
  WILL: { means: 'A connection brought a will for a topic that is not its own.', todo: 'Let the will of the controller speak below its own site, or leave it out.' },
  SUBSCRIBE: {
    means: 'A site asked the own broker for topics that are not its own, for a pattern, or for too many.',
    todo: 'Subscribe to single topics of the own site, or not at all: the own broker is a place to deliver to.',
  },
  CONNECTIONS: {
    means: 'A site opened more connections than it may have.',
    todo: 'Look whether two controllers use one credential, or one opens connections without closing them.',
  },
} as const satisfies Record<string, RejectText>

/** Codes of connections and not of messages. */
export const DOOR_CODES = ['SIGN_IN', 'WILL', 'SUBSCRIBE', 'CONNECTIONS'] as const satisfies readonly RejectCode[]
export type DoorCode = (typeof DOOR_CODES)[number]

export type RejectCode = keyof typeof REJECT_CODES

/** A refusal as plain data. `detail` never holds text from the payload beyond signal names and the digits of a time. */
export interface Reject {
  readonly ok: false
  readonly code: RejectCode
  readonly detail: string
}

export const reject = (code: RejectCode, detail: string): Reject => ({ ok: false, code, detail })

/** A name as it may be shown: at most `most` characters, control characters as `?`. */
export function shown(name: string, most = 60): string {
  const cut = name.length > most ? `${name.slice(0, most - 3)}...` : name
  // oxlint-disable-next-line no-control-regex -- control characters are what is looked for
  return cut.replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029]/g, '?')
}

/** What stands between angle brackets would be taken for markup. */
const cell = (text: string): string => text.replace(/<(\w+)>/g, '\\<$1>')

/** The codes as a Markdown table, for README. */
export function rejectTable(): string {
  const rows = Object.entries(REJECT_CODES).map(([code, t]) => `| \`${code}\` | ${cell(t.means)} | ${cell(t.todo)} |`)
  return ['| code | what it means | what to do |', '|---|---|---|', ...rows].join('\n')
}
