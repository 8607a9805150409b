import { createHash, randomBytes, timingSafeEqual } from 'node:crypto'

/** 32 random bytes as 43 characters that fit a URL and a cookie. */
export const newSecret = (): string => randomBytes(32).toString('base64url')

export const isSecret = (text: string): boolean => /^[A-Za-z0-9_-]{43}$/.test(text)

/**
 * SHA-256, base64url. A plain digest is enough here, where a password would need a slow one: what is hashed has 256 random
 * bits (or is a token at least 16 characters long), so that trying out inputs leads nowhere.
 */
export const digestOf = (secret: string): string => createHash('sha256').update(secret).digest('base64url')

/** Compares two digests without telling by the time taken where they differ. */
export function sameDigest(a: string, b: string): boolean {
  const x = Buffer.from(a)
  const y = Buffer.from(b)
  return x.length === y.length && timingSafeEqual(x, y)
}
