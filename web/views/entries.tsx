/** Entries of the site log as lines of text. */
import type { EntryBody, StageBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import { moment } from '../words/times.ts'
import { ENTRY_WORDS } from '../words/words.ts'

export function Entries({ entries, zone, stages }: { entries: readonly EntryBody[]; zone: string; stages: readonly StageBody[] }) {
  return (
    <ul class="entries">
      {entries.map((e) => (
        <li key={e.id}>
          <span class="mute">{moment(e.atMs, zone, now.value)}</span> <b>{ENTRY_WORDS[e.kind] ?? e.kind}</b> {entryText(e, stages)} <span class="mute">{e.by}</span>
        </li>
      ))}
    </ul>
  )
}

/** "bio tank 1, alkalinity, less than 20 mg/L, drop test". An alarm it is about is told by its text. */
export const entryText = (e: EntryBody, stages: readonly StageBody[]): string =>
  [
    e.about === undefined || e.about.includes('/') ? '' : (stages.find((s) => s.id === e.about)?.name.toLocaleLowerCase() ?? e.about),
    e.item,
    e.asFound === undefined ? '' : `as found ${e.asFound}`,
    e.value === undefined ? '' : `${e.asFound === undefined ? '' : 'as left '}${e.below ? 'less than ' : ''}${e.value}${e.unit ? `\u00a0${e.unit}` : ''}`,
    e.text?.replace(/\.$/, ''),
    e.corrects === undefined ? '' : `corrects entry ${e.corrects}`,
  ]
    .filter(Boolean)
    .join(', ')
