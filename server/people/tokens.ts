import { digestOf, sameDigest } from './secret.ts'

export interface Token {
  /** Who acts when this token is used: stands beside acknowledgements and log entries. */
  readonly name: string
  readonly digest: string
}

const LEAST = 16
const MOST_TOKENS = 200

/**
 * Bearer tokens from the text of a token file: one `name token` a line, or a token alone (its name is then "api"). Empty lines
 * and lines beginning with # are passed over. Throws an Error that names the line, never the token.
 */
export function readTokens(text: string): readonly Token[] {
  const out: Token[] = []
  text.split('\n').forEach((raw, i) => {
    const line = raw.trim()
    if (line === '' || line.startsWith('#')) return
    const words = line.split(/\s+/)
    const token = words.pop() ?? ''
    const name = words.length === 0 ? 'api' : words.join(' ')
    const refuse = (why: string): never => {
      throw new Error(`token file, line ${i + 1}: ${why}`)
    }
    if (token.length < LEAST) refuse(`a token of ${token.length} characters found, at least ${LEAST} are needed: make one with "openssl rand -base64 32"`)
    if (!/^[\x21-\x7e]+$/.test(token)) refuse('the token holds characters that cannot stand in a header: plain letters, digits and signs only')
    if (name.length > 80) refuse(`a name of ${name.length} characters found, at most 80 are kept`)
    const digest = digestOf(token)
    const twin = out.find((t) => t.digest === digest)
    if (twin) refuse(`the same token as that of "${twin.name}": each name needs its own`)
    if (out.length >= MOST_TOKENS) refuse(`more than ${MOST_TOKENS} tokens`)
    out.push({ name, digest })
  })
  return out
}

/** The token presented, or null. Takes the same time whichever matches. */
export function tokenOf(tokens: readonly Token[], presented: string): Token | null {
  const digest = digestOf(presented)
  let found: Token | null = null
  for (const t of tokens) if (sameDigest(t.digest, digest)) found = t
  return found
}
