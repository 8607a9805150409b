/** What saving a site file would do: the lines that go and come, and what they mean for signals, alarms and vitals. */
import { useEffect, useRef } from 'preact/hooks'
import type { SiteFileTriedBody } from '../../server/wire.ts'
import { FIELD_WORDS, fieldText } from '../words/fields.ts'

type Means = NonNullable<SiteFileTriedBody['means']>
type Named = Means['signals']['added'][number]
const SIGNS = { stays: ' ', goes: '\u2212', comes: '+' } as const
const SAID = { stays: '', goes: 'goes: ', comes: 'comes: ' } as const

export function Preview({ tried: { diff, means } }: { tried: SiteFileTriedBody }) {
  const top = useRef<HTMLHeadingElement>(null)
  // It stands below a long form: whoever asked for it is taken there.
  useEffect(() => {
    top.current?.focus({ preventScroll: true })
    top.current?.scrollIntoView({ block: 'start' })
  }, [])
  return (
    <div class="preview">
      <h2 class="sec" ref={top} tabIndex={-1}>
        What changes in the file
      </h2>
      {diff.map((stretch, i) => (
        <div key={i} class="diff" tabIndex={0} role="group" aria-label={`Lines from ${stretch[0]?.line ?? 1}`}>
          <ol>
            {stretch.map((l, j) => (
              <li key={j} class={l.kind}>
                <span aria-hidden="true">{l.line}</span>
                <b aria-hidden="true">{SIGNS[l.kind]}</b>
                <code>
                  <span class="vh">{SAID[l.kind]}</span>
                  {l.text}
                </code>
              </li>
            ))}
          </ol>
        </div>
      ))}
      <h2 class="sec">What it does</h2>
      {means ? <Meaning m={means} /> : <p class="mute">Not known while the text has faults.</p>}
    </div>
  )
}

function Meaning({ m }: { m: Means }) {
  const { signals, alarms, vitals } = m
  const nothing = [signals.added, signals.gone, signals.changed, alarms.added, alarms.gone, alarms.changed, vitals.unlocked, vitals.lost, m.warnings].every((x) => x.length === 0)
  return (
    <div role="status">
      {nothing && <p>Signals, alarms and vitals stay as they are.</p>}
      <List words="Signals that come" of={signals.added} />
      <List words="Signals that go: their readings are no longer taken" of={signals.gone} />
      {signals.changed.length > 0 && (
        <>
          <h3>Signals that change</h3>
          <ul>
            {signals.changed.map((s) => (
              <li key={s.id}>
                {s.name} <span class="mute">{s.id}</span>: {s.what.join(', ')}
              </li>
            ))}
          </ul>
        </>
      )}
      <List words="Alarms that come" of={alarms.added} />
      <List words="Alarms that go: they are no longer watched" of={alarms.gone} />
      {alarms.changed.length > 0 && (
        <>
          <h3>Alarms that change</h3>
          <table class="rows">
            <thead>
              <tr>
                <th scope="col">Alarm</th>
                <th scope="col">Was</th>
                <th scope="col">Will be</th>
              </tr>
            </thead>
            <tbody>
              {alarms.changed.flatMap((a) =>
                a.moved.map((f) => (
                  <tr key={`${a.id} ${f.field}`}>
                    <th scope="row">
                      {a.name}
                      <span class="noteLine">{f.field === 'rule' ? 'its rule' : (FIELD_WORDS[f.field] ?? f.field)}</span>
                    </th>
                    <td>{f.field === 'rule' ? '' : fieldText(f.field, f.was, a.unit)}</td>
                    <td class="strong">{f.field === 'rule' ? 'looks at something else' : fieldText(f.field, f.is, a.unit)}</td>
                  </tr>
                )),
              )}
            </tbody>
          </table>
        </>
      )}
      <List words="Vitals that can be told from then on" of={vitals.unlocked} />
      <List words="Vitals that can no longer be told" of={vitals.lost} />
      {m.warnings.length > 0 && (
        <ul class="hurt">
          {m.warnings.map((w) => (
            <li key={w}>{w.slice(0, 1).toUpperCase() + w.slice(1).replace(/\.$/, '')}.</li>
          ))}
        </ul>
      )}
    </div>
  )
}

function List({ words, of }: { words: string; of: readonly Named[] }) {
  if (of.length === 0) return null
  return (
    <>
      <h3>
        {words} <span class="mute">({of.length})</span>
      </h3>
      <ul>
        {of.map((x) => (
          <li key={x.id}>
            {x.name} <span class="mute">{x.id}</span>
          </li>
        ))}
      </ul>
    </>
  )
}
