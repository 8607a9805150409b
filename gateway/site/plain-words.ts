/** What a schema wants, in words of a person and not of the library, for fields whose schema says nothing of its own. */
import type { z } from 'zod'

const KINDS: Readonly<Record<string, string>> = {
  string: 'text is needed',
  number: 'a number is needed',
  int: 'a whole number is needed',
  boolean: 'true or false is needed',
  array: 'a list is needed',
  tuple: 'a list is needed',
  object: 'named fields are needed',
  record: 'named fields are needed',
  nan: 'a number is needed',
}
const COUNTED: Readonly<Record<string, string>> = { string: 'characters', array: 'entries', set: 'entries', file: 'bytes' }

/** For `safeParse(value, { error: plainWords })`: messages written in the schema itself come first. undefined: the library's words stand. */
export function plainWords(issue: z.core.$ZodRawIssue): string | undefined {
  switch (issue.code) {
    case 'invalid_type':
      return KINDS[issue.expected]
    case 'invalid_value': {
      const [one, ...more] = issue.values.map((v) => JSON.stringify(v) ?? String(v))
      return more.length === 0 ? `${one} is needed` : `one of ${[one, ...more].join(', ')} is needed`
    }
    case 'too_big':
      return boundOf('at most', 'less than', issue.origin, issue.maximum, issue.inclusive)
    case 'too_small':
      return boundOf('at least', 'more than', issue.origin, issue.minimum, issue.inclusive)
    default:
      return undefined
  }
}

function boundOf(within: string, beyond: string, origin: string, bound: number | bigint, inclusive: boolean | undefined): string {
  const counted = COUNTED[origin]
  return `${inclusive === false ? beyond : within} ${bound}${counted ? ` ${counted}` : ''} is needed`
}
