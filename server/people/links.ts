/**
 * Sign-in links: each works once, within 15 minutes. Their digests stand in `<data>/signin-links.json`, read afresh at
 * every use, so that a second program with the same data folder can make one for a server that runs. Whoever can write there
 * could write a session as well: the folder is the border.
 */
import { rmSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { readPrivate, writePrivate } from './private-file.ts'
import { digestOf, isSecret, newSecret, sameDigest } from './secret.ts'

export const LINK_MS = 15 * 60_000
const MOST_LINKS = 20

const linksSchema = z.array(z.object({ digest: z.string(), untilMs: z.number() }))
type Links = z.infer<typeof linksSchema>

const fileOf = (dataDir: string): string => join(dataDir, 'signin-links.json')
const textFileOf = (dataDir: string): string => join(dataDir, 'signin-link.txt')

function read(dataDir: string, nowMs: number): Links {
  const text = readPrivate(fileOf(dataDir))
  if (text === null) return []
  try {
    return linksSchema.parse(JSON.parse(text)).filter((l) => l.untilMs > nowMs)
  } catch {
    return []
  }
}

const write = (dataDir: string, links: Links): void => writePrivate(fileOf(dataDir), `${JSON.stringify(links)}\n`)

/** Makes a link and gives its path, `/signin?once=<token>`; the newest one also stands in `<data>/signin-link.txt`. */
export function issueLink(dataDir: string, nowMs: number): string {
  const token = newSecret()
  const path = `/signin?once=${token}`
  write(dataDir, [...read(dataDir, nowMs), { digest: digestOf(token), untilMs: nowMs + LINK_MS }].slice(-MOST_LINKS))
  writePrivate(textFileOf(dataDir), `${path}\n`)
  return path
}

/** Ms for which the link can still be used; 0: not valid. */
export function linkLeftMs(dataDir: string, token: string, nowMs: number): number {
  if (!isSecret(token)) return 0
  const digest = digestOf(token)
  let left = 0
  for (const l of read(dataDir, nowMs)) if (sameDigest(l.digest, digest)) left = l.untilMs - nowMs
  return left
}

/** Uses the link up. False: it was not valid. */
export function spendLink(dataDir: string, token: string, nowMs: number): boolean {
  if (linkLeftMs(dataDir, token, nowMs) <= 0) return false
  const digest = digestOf(token)
  // Gone from the file before a session exists: a crash between the two costs a link, never gives two sessions.
  write(
    dataDir,
    read(dataDir, nowMs).filter((l) => l.digest !== digest),
  )
  if (readPrivate(textFileOf(dataDir))?.includes(token)) rmSync(textFileOf(dataDir), { force: true })
  return true
}
