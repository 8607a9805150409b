/** Topics: `<prefix>/<site>` carries rows of a whole site, `<prefix>/<site>/<signal>` one signal. */
import { reject, shown, type Reject } from './reject-codes.ts'

/** Levels of the deepest topic we look at. Matchers of several brokers fail on very deep ones. */
const MAX_LEVELS = 10

/** Longest site id and signal id a site file can hold (site-schema.ts), so a longer one can never be known. */
const MAX_SITE = 63
const MAX_SIGNAL = 167

export type TopicResult = { readonly ok: true; readonly site: string; readonly signal: string | null } | Reject

/** Site and signal of a topic; `signal` is null on the site topic. Rejects TOPIC. `prefix` has no slash at its end. */
export function readTopic(topic: string, prefix: string): TopicResult {
  if (!topic.startsWith(prefix) || topic.charCodeAt(prefix.length) !== SLASH) return notOurs(topic, `"${shown(topic)}" does not begin with ${prefix}/`)
  const start = prefix.length + 1
  const slash = topic.indexOf('/', start)
  const site = slash < 0 ? topic.slice(start) : topic.slice(start, slash)
  const signal = slash < 0 ? null : topic.slice(slash + 1)
  if (site === '') return reject('TOPIC', `"${shown(topic)}" names no site: ${prefix}/<site>`)
  if (signal === '') return reject('TOPIC', `"${shown(topic)}" ends in a slash: leave it out, or add the signal`)
  if (signal?.includes('/')) return notOurs(topic, `"${shown(signal)}" has a slash in the signal: write ${shown(signal.replaceAll('/', '.'))}`)
  if (site.length > MAX_SITE) return reject('TOPIC', `a site id of ${site.length} characters, at most ${MAX_SITE}`)
  if (signal !== null && signal.length > MAX_SIGNAL) return reject('TOPIC', `a signal id of ${signal.length} characters, at most ${MAX_SIGNAL}`)
  return { ok: true, site, signal }
}

const SLASH = 47

/** A topic that is too deep says only that: the rest would be hard to read. */
function notOurs(topic: string, detail: string): Reject {
  const levels = topic.split('/').length
  return reject('TOPIC', levels > MAX_LEVELS ? `${levels} levels, at most ${MAX_LEVELS} are read` : detail)
}
