/** What is due on a loop, and its local protections: present, proved when, and how to prove them. It calls nobody. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { DueBody, LoopDetailBody } from '../../server/wire.ts'
import { addEntry, getDue } from '../link/api.ts'
import { to } from '../router.ts'
import { groupOf, kindWord, saidDue, saidProtection, tally, type DueItem, type Protection } from '../state/due.ts'
import { minute, newEntry, now } from '../state/store.ts'

export function DueSection({ body: loop }: { body: LoopDetailBody }) {
  const body = useSignal<DueBody | null>(null)
  const fault = useSignal('')
  const beat = Math.floor(minute.value / 300_000)
  const written = newEntry.value
  useEffect(() => {
    void getDue(loop.id).then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [loop.id, beat, written])
  if (body.value === null && fault.value === '') return null
  const items = body.value?.items ?? []
  const nowMs = now.value
  return (
    <div class="dueBox">
      <section aria-labelledby="due">
        <h2 class="sec" id="due">
          Due
        </h2>
        {fault.value && <p class="refused">{fault.value}</p>}
        <p class="mute">
          Work with a date; it calls nobody. {tally(items, nowMs)}. <a href={to.due(loop.id)}>With why and what to bring</a>
        </p>
        {items.length > 0 && (
          <table class="rows due">
            <tbody>
              {items.slice(0, 8).map((d) => (
                <Line key={d.id} item={d} zone={loop.zone} nowMs={nowMs} />
              ))}
            </tbody>
          </table>
        )}
        {items.length > 8 && (
          <p>
            <a href={to.due(loop.id)}>{items.length - 8} more</a>
          </p>
        )}
      </section>
      {body.value && <Register site={loop.id} zone={loop.zone} protections={body.value.protections} nowMs={nowMs} />}
    </div>
  )
}

function Line({ item: d, zone, nowMs }: { item: DueItem; zone: string; nowMs: number }) {
  const late = groupOf(d, nowMs) === 'overdue'
  return (
    <tr>
      <th scope="row">
        {d.what}
        <span class="noteLine">
          {kindWord(d)}
          {d.stageName === null ? '' : `, ${d.stageName}`}
        </span>
      </th>
      <td class="num">{late ? <b>{saidDue(d, zone, nowMs)}</b> : saidDue(d, zone, nowMs)}</td>
    </tr>
  )
}

/** Protections that are missing stand here and get no louder: an alarm cannot do in a night what they do in seconds. */
function Register({ site, zone, protections, nowMs }: { site: string; zone: string; protections: readonly Protection[]; nowMs: number }) {
  const missing = protections.filter((p) => p.fitted !== 'yes').length
  return (
    <section aria-labelledby="protections">
      <h2 class="sec" id="protections">
        Local protection
      </h2>
      <p class="mute">
        What takes minutes is for these; an alarm cannot be one.{' '}
        {missing === 0 ? '' : <b>{missing === 1 ? '1 is missing or not written down.' : `${missing} are missing or not written down.`}</b>}
      </p>
      {protections.map((p) => (
        <details key={p.id} class="guard">
          <summary>
            <span>{p.what}</span>
            <Standing protection={p} zone={zone} nowMs={nowMs} />
          </summary>
          <Prove site={site} protection={p} />
        </details>
      ))}
    </section>
  )
}

function Standing({ protection: p, zone, nowMs }: { protection: Protection; zone: string; nowMs: number }) {
  const s = saidProtection(p, zone, nowMs)
  return s.matter ? <b>{s.words}</b> : <span class="mute">{s.words}</span>
}

function Prove({ site, protection: p }: { site: string; protection: Protection }) {
  const sent = useSignal('')
  const write = async (): Promise<void> => {
    sent.value = 'Writing.'
    const r = await addEntry({ site, kind: 'interlock-proved', atMs: Math.round(now.peek()), about: p.id, text: 'Shown to work on site.' })
    sent.value = r.ok ? 'Written into the site log; it counts from now.' : `Not written: ${r.message.replace(/^body: /, '')}.`
  }
  return (
    <div class="prove">
      <p>{p.prove}</p>
      {p.alarms.length > 0 && (
        <p class="mute">
          Counted on by:{' '}
          {p.alarms.map((a, i) => (
            <span key={a.id}>
              {i > 0 && ', '}
              <a href={to.alarm(a.id)}>{a.what}</a>
            </span>
          ))}
          .
        </p>
      )}
      <p class="acts">
        <button type="button" class="btn" disabled={sent.value === 'Writing.'} onClick={() => void write()}>
          Proved just now
        </button>
        <span role="status">{sent.value}</span>
      </p>
    </div>
  )
}
