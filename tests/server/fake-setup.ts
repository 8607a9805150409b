/** Site files and credentials of a gateway that stands still. */
import type { Clock } from '../../gateway/clock.ts'
import type { CredentialLine, CredentialsPort, SiteFileRefusal, SiteFilesPort } from '../../gateway/port.ts'

const none = (file: string): SiteFileRefusal => ({ ok: false, code: 'unknown-file', message: `no site file "${file}" in the folder: it has none` })

export const noSiteFiles: SiteFilesPort = { locked: null, folder: 'sites', list: () => [], read: none, draft: ({ id }) => none(id), preview: none, save: none }

export function fakeCredentials(clock: Clock, locked: string | null = null): CredentialsPort {
  const made = new Map<string, CredentialLine>()
  return {
    locked,
    outside: [],
    list: () => [...made.values()],
    async replace(site) {
      made.set(site, { site, createdMs: clock.nowMs(), usedMs: null })
      return `secret-of-${site}-${made.size}`
    },
    withdraw: (site) => made.delete(site),
  }
}
