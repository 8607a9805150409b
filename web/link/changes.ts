/** Calls about changes of alarms and the alarm journal. */
import { changeableBody, changeBody, changesBody, journalBody, previewBody } from '../../server/wire.ts'
import type { AlarmFieldsBody, ChangeableBody, ChangeBody, ChangesBody, JournalBody, PreviewBody } from '../../server/wire.ts'
import { ask, post, type Answer } from './api.ts'

const q = encodeURIComponent
export const getChangeable = (id: string): Promise<Answer<ChangeableBody>> => ask(`/api/alarms/${q(id)}/change`, changeableBody)
export const previewChange = (id: string, fields: AlarmFieldsBody): Promise<Answer<PreviewBody>> => ask(`/api/alarms/${q(id)}/preview`, previewBody, post({ fields }))
export const saveChange = (id: string, change: { fields: AlarmFieldsBody; mark: string; reason: string; approver?: string }): Promise<Answer<ChangeBody>> =>
  ask(`/api/alarms/${q(id)}/change`, changeBody, post(change))
export const getChanges = (query: URLSearchParams): Promise<Answer<ChangesBody>> => ask(`/api/changes?${query}`, changesBody)
export const undoChange = (id: number, given: { reason: string; approver?: string }): Promise<Answer<ChangeBody>> => ask(`/api/changes/${id}/undo`, changeBody, post(given))
export const findEvents = (query: URLSearchParams): Promise<Answer<JournalBody>> => ask(`/api/journal?${query}`, journalBody)
