/** Vitals of a loop: what is computed from its signals, each with "How this was computed", and what it cannot tell. */
import type { LoopDetailBody, NormalBody, VitalBody } from '../../server/wire.ts'
import { to } from '../router.ts'
import { normalAtLength, saidNormal } from '../state/outlook.ts'
import { now } from '../state/store.ts'
import { lacking, said, vitalGroups } from '../state/vital.ts'
import { figure, measured } from '../words/numbers.ts'
import { moment } from '../words/times.ts'

export function Vitals({ body, normal }: { body: LoopDetailBody; normal: NormalBody | null }) {
  const groups = vitalGroups(body.vitals, body.stages)
  const missing = lacking(body.vitals)
  if (body.vitals.length === 0) return null
  return (
    <section class="vitals" aria-labelledby="vitals">
      <h2 class="sec" id="vitals">
        Vitals
      </h2>
      <p class="mute">
        Computed from the signals. The span is where the truth lies eight times in ten. Never better than the worst reading it stands on. Usual is what this loop did in hours like
        this one.
        {normal?.paused && ` Learning what is usual is paused: ${normal.paused}.`}
      </p>
      <div class="vitalGroups">
        {groups.map((g) => (
          <section key={g.title} aria-label={`Vitals, ${g.title}`}>
            <h3>{g.title}</h3>
            {g.vitals.map((v) => (
              <OneVital key={v.id} vital={v} body={body} normal={normal} />
            ))}
          </section>
        ))}
        {missing.length > 0 && (
          <section aria-label="Vitals that cannot be told here">
            <h3>Not told here</h3>
            <ul class="lacking">
              {missing.map((m) => (
                <li key={m.unlock}>
                  <b>{m.unlock}</b>
                  <span>
                    {m.names.join('; ')}. <span class="mute">Withheld: {m.why}.</span>
                  </span>
                </li>
              ))}
            </ul>
          </section>
        )}
      </div>
    </section>
  )
}

/** "Oxygen saturation, treatment unit" under its tank's heading is "Oxygen saturation". */
const shortName = (v: VitalBody, body: LoopDetailBody): string => {
  const stage = body.stages.find((s) => s.id === v.stage)?.name.toLocaleLowerCase()
  return stage !== undefined && v.name.toLocaleLowerCase().endsWith(`, ${stage}`) ? v.name.slice(0, -stage.length - 2) : v.name
}

function OneVital({ vital: v, body, normal }: { vital: VitalBody; body: LoopDetailBody; normal: NormalBody | null }) {
  const s = said(v)
  const n = normal?.signals.find((x) => x.id === v.id)
  const usual = v.value === null ? null : saidNormal(n, v.digits, v.unitText, v.value)
  return (
    <details class="vital">
      <summary>
        <span>{shortName(v, body)}</span>
        <span class="figure">
          <b class={`val ${s.kind}`}>{s.text}</b>{' '}
          <span class="u" aria-hidden="true">
            {s.unit}
          </span>
          {s.unit && <span class="vh">{v.unitSpoken}</span>}
        </span>
        <span class="span">{s.span}</span>
        {usual && (
          <span class="usual">
            {usual.text}
            {usual.outside && <b>, {usual.outside} it now</b>}
          </span>
        )}
        {s.note && <span class="noteLine">{v.value === null ? `Withheld: ${s.note}.` : s.note}</span>}
      </summary>
      <How vital={v} body={body} normal={n} paused={normal?.paused ?? null} />
    </details>
  )
}

function How({ vital: v, body, normal, paused }: { vital: VitalBody; body: LoopDetailBody; normal: NormalBody['signals'][number] | undefined; paused: string | null }) {
  const nowMs = now.value
  return (
    <div class="how">
      <h4>How this was computed</h4>
      <dl>
        {v.unlock && v.value === null && (
          <>
            <dt>Unlock</dt>
            <dd>{v.unlock}</dd>
          </>
        )}
        <dt>Formula</dt>
        <dd>{v.formula}</dd>
        {v.inputs.length > 0 && (
          <>
            <dt>From</dt>
            <dd>
              <ul>
                {v.inputs.map((i) => (
                  <li key={`${i.from} ${i.what}`}>
                    {i.what} {i.value === null ? '–' : measured(i.value, digitsOf(i.value), i.unitText)}
                    {i.atMs !== null && <span class="mute">, {moment(i.atMs, body.zone, nowMs)}</span>}
                    {i.quality !== null && i.quality !== 'good' && <b>, {i.quality === 'bad' ? 'rejected' : 'doubtful'}</b>}
                  </li>
                ))}
              </ul>
            </dd>
          </>
        )}
        {v.notes.length > 0 && (
          <>
            <dt>Mind</dt>
            <dd>{v.notes.join(' ')}</dd>
          </>
        )}
        {normal && (
          <>
            <dt>Usual</dt>
            <dd>{normalAtLength(normal, v.digits, v.unitText, paused).join(' ')}</dd>
          </>
        )}
        <dt>Over</dt>
        <dd>{v.window}</dd>
        <dt>Source</dt>
        <dd>{v.source}</dd>
        {v.atMs !== null && (
          <>
            <dt>Speaks of</dt>
            <dd>{moment(v.atMs, body.zone, nowMs)}</dd>
          </>
        )}
      </dl>
      <a href={to.trends(body.id, [v.id])}>Trend</a>
      {v.value !== null && v.interval !== null && v.bound !== null && (
        <span class="mute">
          {' '}
          between {figure(v.interval.low, v.digits)} and {v.interval.high === null ? 'no known end' : figure(v.interval.high, v.digits)}
        </span>
      )}
    </div>
  )
}

const digitsOf = (value: number): number => (Math.abs(value) >= 100 ? 0 : Math.abs(value) >= 10 ? 1 : Math.abs(value) >= 0.1 ? 2 : 4)
