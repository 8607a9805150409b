/** The alarm journal: what happened to alarms, newest first, filtered and searched, page by page, and as a file. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { JournalBody } from '../../server/wire.ts'
import { findEvents } from '../link/changes.ts'
import { here, to } from '../router.ts'
import { allLoops, newAlarm, now } from '../state/store.ts'
import { figure, measured } from '../words/numbers.ts'
import { moment, offset, ownZone } from '../words/times.ts'
import { LETTER } from '../words/words.ts'
import { Filters, LoopChoice } from './filters.tsx'

const FILTERS = ['site', 'alarm', 'kind', 'by', 'text', 'days'] as const
const DAY_MS = 86_400_000
const SPANS = [
  ['1', 'last day'],
  ['7', 'last 7 days'],
  ['30', 'last 30 days'],
  ['90', 'last 90 days'],
  ['366', 'last year'],
] as const
const PAGE = 200

export function Journal() {
  const query = here.value.query
  const days = SPANS.find(([d]) => d === query.get('days'))?.[0] ?? '30'
  const words = new URLSearchParams(FILTERS.filter((f) => f !== 'days').flatMap((f) => (query.get(f) ? [[f, query.get(f) ?? '']] : [])))
  const found = useSignal<JournalBody | null>(null)
  const fault = useSignal('')
  const spanned = (): URLSearchParams => {
    const q = new URLSearchParams(words)
    q.set('from', String(Math.max(0, Math.round(now.peek() - Number(days) * DAY_MS))))
    q.set('to', String(Math.round(now.peek() + 60_000)))
    return q
  }
  const load = async (before?: number): Promise<void> => {
    const q = spanned()
    q.set('limit', String(PAGE))
    if (before !== undefined) q.set('before', String(before))
    const r = await findEvents(q)
    fault.value = r.ok ? '' : r.message
    if (r.ok) found.value = before === undefined ? r.body : { ...r.body, events: [...(found.peek()?.events ?? []), ...r.body.events] }
  }
  const newest = newAlarm.value
  // A page further down is left as it is while somebody reads it.
  const long = (found.peek()?.events.length ?? 0) > PAGE
  useEffect(() => void load(), [words.toString(), days])
  useEffect(() => void (newest && !long && load()), [newest])
  const zone = ownZone()
  const names = new Map(allLoops.value.map((l) => [l.id, l.name]))
  const all = found.value
  const last = all?.events.at(-1)
  return (
    <div class="wide">
      <Filters tab="history" names={FILTERS}>
        <LoopChoice />
        <label>
          Happened
          <select name="kind" value={query.get('kind') ?? ''}>
            <option value="">anything</option>
            {all?.kinds.map((k) => (
              <option key={k.id} value={k.id} selected={k.id === query.get('kind')}>
                {k.word}
              </option>
            ))}
          </select>
        </label>
        <label>
          Person
          <input name="by" defaultValue={query.get('by') ?? ''} maxLength={100} autoComplete="off" />
        </label>
        <label>
          Words
          <input name="text" type="search" defaultValue={query.get('text') ?? ''} maxLength={100} autoComplete="off" />
        </label>
        <label>
          When
          <select name="days" value={days}>
            {SPANS.map(([d, said]) => (
              <option key={d} value={d} selected={d === days}>
                {said}
              </option>
            ))}
          </select>
        </label>
        <a class="btn" href={`/api/journal.csv?${spanned()}`} download="alarm-journal.csv">
          Save as CSV
        </a>
      </Filters>
      {fault.value && <p class="refused">{fault.value}</p>}
      {!all && !fault.value && <p class="mute">Asking the server.</p>}
      {all?.events.length === 0 && (
        <p class="nobody">
          <b>Nothing in the {SPANS.find(([d]) => d === days)?.[1]}</b>
          {words.size > 0 ? ' that this asks for.' : '.'}
        </p>
      )}
      {all && all.events.length > 0 && (
        <>
          <p class="mute">Newest first. Times of this browser, {offset(now.value, zone)}.</p>
          <table class="list stack">
            <thead>
              <tr>
                <th scope="col">When</th>
                <th scope="col">Loop</th>
                <th scope="col">What</th>
                <th scope="col">Happened</th>
                <th scope="col">Value against limit</th>
                <th scope="col">By</th>
              </tr>
            </thead>
            <tbody>
              {all.events.map((e) => {
                const site = e.alarm.slice(0, e.alarm.indexOf('/'))
                return (
                  <tr key={e.seq}>
                    <td class="nowrap">{moment(e.atMs, zone, now.value)}</td>
                    <td>
                      <a href={to.loop(site)}>{names.get(site) ?? site}</a>
                    </td>
                    <td>
                      <b>{LETTER[e.priority]}</b> <a href={to.alarm(e.alarm)}>{e.what}</a>
                    </td>
                    <td>{all.kinds.find((k) => k.id === e.kind)?.word ?? e.kind}</td>
                    <td>
                      {e.value === null || e.digits === null ? '' : `${measured(e.value, e.digits, e.unit)}${e.limit === null ? '' : `, limit ${figure(e.limit, e.digits)}`}`}
                    </td>
                    <td>{[e.by, e.note && `“${e.note}”`].filter(Boolean).join(': ')}</td>
                  </tr>
                )
              })}
            </tbody>
          </table>
        </>
      )}
      {all?.more && last && (
        <button type="button" class="btn" onClick={() => void load(last.seq)}>
          Older
        </button>
      )}
    </div>
  )
}
