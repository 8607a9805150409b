/** Figures of the span shown, one row a signal, and one for what it is compared with. */
import type { HistoryBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { figuresOf } from '../state/trend-figures.ts'
import type { Span } from '../state/trend.ts'
import { figure } from '../words/numbers.ts'
import { age, dated } from '../words/times.ts'
import type { Trends } from './trend-data.ts'

interface Props {
  readonly signals: readonly SignalBody[]
  readonly trends: Trends
  readonly beside: Trends
  readonly besideName: string
  readonly span: Span
  readonly loop: LoopDetailBody
}

const HEADS = ['Readings', 'Lowest', 'Mean', 'Median', 'Highest'] as const

export function TrendFigures({ signals, trends, beside, besideName, span, loop }: Props) {
  const rows = signals
    .filter((s) => s.kind !== 'state')
    .flatMap((s) => {
      const [own, other] = [trends.get(s.id), beside.get(s.id)]
      return [...(own ? [{ key: s.id, s, h: own, name: s.name }] : []), ...(other ? [{ key: `${s.id}|`, s, h: other, name: `${s.name}, ${besideName}` }] : [])]
    })
  const exact = rows.every((r) => figuresOf(r.h, r.s).exact)
  return (
    <div class="wide" tabIndex={0} role="region" aria-label="Figures of the span">
      <table class="list stack figs">
        <caption>
          Figures of {dated(span.fromMs, loop.zone)} to {dated(span.toMs, loop.zone)}
          {!exact && '. Mean, lowest and highest are of all readings; median and time beyond a limit are of the means drawn.'}
        </caption>
        <thead>
          <tr>
            <th scope="col">Signal</th>
            {HEADS.map((head) => (
              <th key={head} scope="col" class="num">
                {head}
              </th>
            ))}
            <th scope="col">Time beyond a limit</th>
            <th scope="col">Missing</th>
          </tr>
        </thead>
        <tbody>
          {rows.map((r) => (
            <Row key={r.key} signal={r.s} history={r.h} name={r.name} />
          ))}
        </tbody>
      </table>
    </div>
  )
}

function Row({ signal: s, history, name }: { signal: SignalBody; history: HistoryBody; name: string }) {
  const f = figuresOf(history, s)
  const unit = (
    <>
      <span class="mute" aria-hidden="true">
        {s.unitText}
      </span>
      <span class="vh">{s.unitSpoken}</span>
    </>
  )
  return (
    <tr>
      <th scope="row">
        {name} {unit}
      </th>
      <td class="num" data-label={HEADS[0]}>
        {figure(f.readings, 0)}
        {f.bad > 0 && <span class="mute"> and {figure(f.bad, 0)} bad</span>}
      </td>
      {[f.low, f.mean, f.median, f.high].map((v, i) => (
        <td key={HEADS[i + 1]} class="num" data-label={HEADS[i + 1]}>
          {v === null ? '–' : figure(v, s.digits + (i === 1 ? 1 : 0))}
        </td>
      ))}
      <td data-label="Beyond a limit">
        {f.beyond.length === 0 || f.readings === 0
          ? 'no limit'
          : f.beyond.map((b) => `${b.name.startsWith('L') ? 'below' : 'above'} ${figure(b.value, s.digits)}: ${share(b.share)}`).join('; ')}
      </td>
      <td data-label="Missing">{f.gaps === 0 ? 'nothing' : `${f.gaps} ${f.gaps === 1 ? 'gap' : 'gaps'}, ${age(f.lostMs)}`}</td>
    </tr>
  )
}

/** None is none: what rounds to nothing is still more than nothing. */
const share = (percent: number): string => (percent === 0 ? 'none' : percent < 0.05 ? 'under 0.1\u00a0%' : `${figure(percent, 1)}\u00a0%`)
