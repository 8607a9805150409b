/** A trend as a table: the same figures, for people and for copying. */
import type { HistoryBody, LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import { csv } from '../state/trend.ts'
import { figure } from '../words/numbers.ts'
import { age, moment } from '../words/times.ts'

const MOST_ROWS = 200

/** The spans drawn, with their means: not the single readings, which the server gives. */
function save(all: Parameters<typeof csv>[0], name: string): void {
  const a = document.createElement('a')
  a.href = URL.createObjectURL(new Blob([`\ufeff${csv(all, (ms) => new Date(ms).toISOString())}`], { type: 'text/csv' }))
  a.download = `${name}-means.csv`
  a.click()
  URL.revokeObjectURL(a.href)
}

export function TrendTable({ all, loop }: { all: readonly { readonly signal: SignalBody; readonly history: HistoryBody }[]; loop: LoopDetailBody }) {
  return (
    <div class="wide" tabIndex={0} role="region" aria-label="The trend as a table">
      <button type="button" class="btn" onClick={() => save(all, loop.id)}>
        Save these means
      </button>
      {all.map(({ signal: s, history: h }) => {
        const rows = h.at
          .flatMap((ms, i) => ((h.count[i] ?? 0) + (h.bad[i] ?? 0) > 0 ? [{ ms, i }] : []))
          .slice(-MOST_ROWS)
          .toReversed()
        return (
          <table key={s.id} class="list">
            <caption>
              {s.name}
              {s.unitText && `, ${s.unitText}`}: newest {rows.length} spans of {age(h.bucketMs)}, {loop.zone}
            </caption>
            <thead>
              <tr>
                <th scope="col">From</th>
                {['Mean', 'Lowest', 'Highest', 'Readings', 'Bad'].map((word) => (
                  <th key={word} scope="col" class="num">
                    {word}
                  </th>
                ))}
              </tr>
            </thead>
            <tbody>
              {rows.map(({ ms, i }) => (
                <tr key={ms}>
                  <td>{moment(ms, loop.zone, now.peek())}</td>
                  {[h.mean[i], h.min[i], h.max[i]].map((v, k) => (
                    <td key={k} class="num">
                      {v === null || v === undefined ? '–' : figure(v, s.digits + 1)}
                    </td>
                  ))}
                  <td class="num">{h.count[i]}</td>
                  <td class="num">{h.bad[i]}</td>
                </tr>
              ))}
            </tbody>
          </table>
        )
      })}
    </div>
  )
}
