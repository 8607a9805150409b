/** Signals that arrive and are in no site file, each with what it may be and the way into the file. */
import { useSignal } from '@preact/signals'
import type { AdoptedBody, UnassignedBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { age } from '../words/times.ts'
import { AdoptForm } from './intake-adopt.tsx'

export type Found = UnassignedBody['signals'][number]

export const keyOfFound = (f: Found): string => `${f.site} ${f.from ? `${f.from.topic} ${f.from.path} ${String(f.from.when?.is ?? '')}` : f.signal}`

export function Unassigned({ body }: { body: UnassignedBody }) {
  const open = useSignal<string | null>(null)
  const done = useSignal<readonly AdoptedBody[]>([])
  const wordOf = (id: string): string => body.quantities.find((q) => q.id === id)?.word ?? id
  const unitOf = (id: string): string => body.quantities.find((q) => q.id === id)?.units[0]?.text ?? ''
  return (
    <section aria-labelledby="unassigned">
      <h2 class="sec second" id="unassigned">
        In no site file
      </h2>
      <div role="status">
        {done.value.map((d) => (
          <p key={`${d.site} ${d.signal}`} class="taken">
            <b>{d.signal}</b> stands in <b>{d.file}</b>, line {d.line}: <code>{d.written}</code>. Its readings are taken within 5 s, its alarms are watched from then on.
          </p>
        ))}
      </div>
      {body.signals.length === 0 && <p class="nobody">Every signal that arrives stands in a site file.</p>}
      <ul class="found">
        {body.signals.map((f) => {
          const key = keyOfFound(f)
          const shown = open.value === key
          return (
            <li key={key}>
              <div class="found-row">
                <p class="break">
                  <b class="strong">{f.from ? whereOf(f) : f.signal}</b>
                  <span class="block mute">
                    {f.siteName}
                    {f.from && `, topic ${f.from.topic}`}
                  </span>
                </p>
                <p class="num">
                  <b class="val">{f.lastValue === null ? '–' : figure(f.lastValue, Number.isInteger(f.lastValue) ? 0 : 2)}</b>
                  <span class="block mute">
                    {oftenOf(f)}, {age(now.value - f.lastMs)} ago
                  </span>
                </p>
                <p>
                  {f.guess ? (
                    <>
                      Perhaps {wordOf(f.guess.quantity)}
                      {unitOf(f.guess.quantity) && f.guess.quantity !== 'ph' && ` in ${unitOf(f.guess.quantity)}`}
                      <span class="block mute">because {f.guess.because}</span>
                    </>
                  ) : (
                    <span class="mute">Nothing says what it is</span>
                  )}
                </p>
                <button
                  type="button"
                  class="btn"
                  aria-expanded={shown}
                  aria-label={`Adopt ${f.from ? whereOf(f) : f.signal} of ${f.siteName}`}
                  onClick={() => (open.value = shown ? null : key)}
                >
                  {shown ? 'Leave it' : 'Adopt'}
                </button>
              </div>
              {shown && (
                <AdoptForm
                  found={f}
                  quantities={body.quantities}
                  places={body.places[f.site] ?? []}
                  taken={(d) => {
                    done.value = [...done.value.filter((x) => x.site !== d.site || x.signal !== d.signal), d]
                    open.value = null
                  }}
                />
              )}
            </li>
          )
        })}
      </ul>
    </section>
  )
}

/** Where in a message it stands, as a site file writes it. */
export const whereOf = (f: Found): string => (f.from ? `${f.from.path}${f.from.when ? ` where ${f.from.when.path} is ${String(f.from.when.is)}` : ''}` : f.signal)

/** A rate from the first seconds says nothing. */
function oftenOf(f: Found): string {
  if (f.perMin === null || f.lastMs - f.firstMs < 10_000) return f.count === 1 ? 'once' : `${figure(f.count, 0)} times`
  return rate(f.perMin)
}

const rate = (perMin: number): string => (perMin >= 0.95 ? `${figure(perMin, perMin < 10 ? 1 : 0)} a minute` : `${figure(perMin * 60, perMin * 60 < 10 ? 1 : 0)} an hour`)
