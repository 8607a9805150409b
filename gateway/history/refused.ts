/** What the store says when it cannot do what was asked. `code` is stable; `message` says what to do about it. */
export type RefusedCode =
  | 'DISK_FULL'
  | 'DISK_ERROR'
  | 'LOCKED'
  | 'IN_USE'
  | 'CORRUPT'
  | 'FOLDER'
  | 'NEWER_FORMAT'
  | 'DOWN'
  | 'BAD_READING'
  | 'FILE'
  | 'OPTION'
  | 'TOO_MANY_SIGNALS'
  | 'CLOSED'

export class HistoryRefused extends Error {
  readonly code: RefusedCode

  constructor(code: RefusedCode, message: string, cause?: unknown) {
    super(message, cause === undefined ? undefined : { cause })
    this.name = 'HistoryRefused'
    this.code = code
  }
}

/** Turns what SQLite or the file system threw while `doing` into a refusal; a refusal passes through, a mistake of ours too. */
export function refusedBy(thrown: unknown, doing: string): unknown {
  if (thrown instanceof HistoryRefused || !(thrown instanceof Error)) return thrown
  const code = 'code' in thrown && typeof thrown.code === 'string' ? thrown.code : ''
  const said = `${doing}: ${thrown.message} (${code})`
  if (code === 'SQLITE_FULL' || code === 'ENOSPC' || code === 'EDQUOT') {
    return new HistoryRefused('DISK_FULL', `${said}. Nothing of it was kept: free some space or allow a larger history file`, thrown)
  }
  if (code.startsWith('SQLITE_BUSY') || code.startsWith('SQLITE_LOCKED'))
    return new HistoryRefused('LOCKED', `${said}. Another process is writing to the history file: stop it`, thrown)
  if (code.startsWith('SQLITE_CORRUPT') || code === 'SQLITE_NOTADB')
    return new HistoryRefused('CORRUPT', `${said}. The file is damaged: put back the last backup, or save what can be read with npm run history -- repair`, thrown)
  if (code.startsWith('SQLITE_') || /^E[A-Z]+$/.test(code))
    return new HistoryRefused('DISK_ERROR', `${said}. Nothing of it was kept: look at the disk and at the rights on the data folder`, thrown)
  return thrown
}
