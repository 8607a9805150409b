/** Bodies of the setup pages: site files as they stand and as they would be, and credentials of the own broker. Times are ms since 1970 UTC. */
import { z } from 'zod'

const ms = z.number().int()

const siteFault = z.object({ file: z.string(), line: z.number().int(), field: z.string(), message: z.string() })
const named = z.object({ id: z.string(), name: z.string() })
const fields = z.record(z.string(), z.unknown()).nullable()
const diff = z.array(z.array(z.object({ kind: z.enum(['stays', 'goes', 'comes']), line: z.number().int(), text: z.string() })))

/** GET /api/setup */
export const setupBody = z.object({
  /** Why site files cannot be changed here, and what to do; null: they can. */
  locked: z.string().nullable(),
  folder: z.string(),
  files: z.array(z.object({ file: z.string(), site: z.string().nullable(), name: z.string().nullable(), faults: z.array(siteFault) })),
  /** Faults that stand in no file of the list, and changes of alarms that are not taken. */
  faults: z.array(siteFault),
  unassigned: z.number().int(),
  /** Alarms to be gone through by now, by loop. */
  reviews: z.array(z.object({ site: z.string(), siteName: z.string(), dueMs: ms.nullable(), why: z.string() })),
  /** Loops whose credential nobody has used since it was made. */
  unused: z.array(z.object({ site: z.string(), siteName: z.string(), createdMs: ms })),
})

/** GET /api/site-files/:file */
export const siteFileBody = z.object({
  file: z.string(),
  site: z.string().nullable(),
  text: z.string(),
  /** As the file writes them; null: it cannot be read as YAML. */
  fields,
  /** Names this version: a change brings it back. */
  mark: z.string(),
  faults: z.array(siteFault),
  locked: z.string().nullable(),
  /** What is in force of each signal of the loop, where its file may say nothing. */
  inForce: z.record(z.string(), z.object({ name: z.string(), range: z.array(z.number()), sampleEveryMs: z.number(), reportEveryMs: z.number() })),
})

const part = z.string().min(1).max(170)
const plain = z.union([z.string().max(300, 'at most 300 characters'), z.number(), z.boolean()])
/** A value of a field: text, figure, yes or no, a list, or names with such. */
const fieldValue = z.union([plain, z.array(z.union([z.string().max(300), z.number()])).max(20), z.record(z.string().max(64), plain)])
const edit = z.strictObject({ path: z.array(part).min(1).max(4), value: fieldValue.nullable() })

const mark = z.string().min(1, 'the mark of the version you saw, or "new"').max(60)
const text = z.string().max(200_000, 'at most 200,000 characters')
const edits = z.array(edit).max(2000, 'at most 2,000 fields')

/** The whole text, or fields laid over the text that is given or stands on disk. */
export const siteFileRequest = z.strictObject({ mark, text: text.optional(), edits: edits.optional() })
export const siteFileSaveRequest = z.strictObject({
  mark,
  text: text.optional(),
  edits: edits.optional(),
  reason: z.string().trim().min(1, 'why, in a sentence').max(300, 'at most 300 characters'),
})

const value = z.union([z.number(), z.string(), z.boolean(), z.array(z.string())])

/** What a change would do. Nothing is saved. */
export const siteFileTriedBody = z.object({
  file: z.string(),
  site: z.string().nullable(),
  isNew: z.boolean(),
  text: z.string(),
  fields,
  mark: z.string(),
  diff,
  /** Why it cannot be saved; empty: it can. */
  faults: z.array(siteFault),
  /** null: the text has faults. */
  means: z
    .object({
      signals: z.object({ added: z.array(named), gone: z.array(named), changed: z.array(named.extend({ what: z.array(z.string()) })) }),
      alarms: z.object({
        added: z.array(named),
        gone: z.array(named),
        changed: z.array(named.extend({ unit: z.string(), moved: z.array(z.object({ field: z.string(), was: value.nullable(), is: value.nullable() })) })),
      }),
      vitals: z.object({ unlocked: z.array(named), lost: z.array(named) }),
      warnings: z.array(z.string()),
    })
    .nullable(),
})

/** POST /api/site-files/:file/save. `secret`: of a new loop, the only time it can be read. */
export const siteFileSavedBody = z.object({ file: z.string(), site: z.string(), isNew: z.boolean(), mark: z.string(), diff, secret: z.string().nullable() })

/** POST /api/site-files/draft: what a new loop begins with. */
export const newSiteRequest = z.strictObject({
  id: z.string().min(1, 'an id such as "kestrow-berth-3"').max(63, 'at most 63 characters'),
  name: z.string().trim().min(1, 'a name').max(300),
  zone: z.string().min(1, 'an IANA time zone, such as "Europe/Lisbon"').max(60),
  area: z.string().trim().max(300).optional(),
  bioTanks: z.number().int().min(1).max(4, '1 to 4 bio tanks').optional(),
  /** Name of the site file to begin from. */
  copyOf: z.string().min(1).max(120).optional(),
})

/** GET /api/credentials */
export const credentialsBody = z.object({
  locked: z.string().nullable(),
  /** Brokers of others, whose credentials live there. */
  outside: z.array(z.string()),
  sites: z.array(
    z.object({
      site: z.string(),
      siteName: z.string(),
      /** null: it has none. */
      createdMs: ms.nullable(),
      /** null: never, as far as is known. */
      usedMs: ms.nullable(),
      /** No site file has this loop: the credential opens nothing. */
      known: z.boolean(),
    }),
  ),
})

/** POST /api/credentials/:site/replace: the only time the secret can be read. */
export const secretBody = z.object({ site: z.string(), secret: z.string() })
export const withdrawnBody = z.object({ site: z.string() })

export type SetupBody = z.infer<typeof setupBody>
export type SiteFileBody = z.infer<typeof siteFileBody>
export type SiteFileRequest = z.infer<typeof siteFileRequest>
export type SiteFileTriedBody = z.infer<typeof siteFileTriedBody>
export type SiteFileSavedBody = z.infer<typeof siteFileSavedBody>
export type NewSiteRequest = z.infer<typeof newSiteRequest>
export type CredentialsBody = z.infer<typeof credentialsBody>
export type SecretBody = z.infer<typeof secretBody>
