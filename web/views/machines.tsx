/** Hours and starts of the machines of one loop over the last day and week, worked out of meters and run bits. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { MachinesBody } from '../../server/wire.ts'
import { getMachines } from '../link/api.ts'
import { minute } from '../state/store.ts'
import { figure, measured } from '../words/numbers.ts'

type Span = MachinesBody['machines'][number]['day']

export function Machines({ site }: { site: string }) {
  const body = useSignal<MachinesBody | null>(null)
  const fault = useSignal('')
  // It moves by minutes; asked for every five of them.
  const beat = Math.floor(minute.value / 300_000)
  useEffect(() => {
    void getMachines(site).then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [site, beat])
  const machines = body.value?.machines ?? []
  if (machines.length === 0 && fault.value === '') return null
  return (
    <section>
      <h2 class="sec second">Hours and starts</h2>
      {fault.value && <p class="refused">{fault.value}</p>}
      <table class="rows">
        <thead>
          <tr>
            <th scope="col">Machine</th>
            <th scope="col" class="num">
              24 h
            </th>
            <th scope="col" class="num">
              7 days
            </th>
          </tr>
        </thead>
        <tbody>
          {machines.map((m) => (
            <tr key={m.id}>
              <th scope="row">
                {m.name}
                <span class="noteLine">{basis(m)}</span>
              </th>
              <td class="num">{spanOf(m.day)}</td>
              <td class="num">{spanOf(m.week)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  )
}

function spanOf({ hours, starts, atLeast }: Span) {
  if (hours === null) return '–'
  return (
    <>
      {atLeast && 'at least '}
      {measured(hours, 1, 'h')}
      {starts !== null && <span class="noteLine">{starts === 1 ? '1 start' : `${figure(starts, 0)} starts`}</span>}
    </>
  )
}

/** What the figures rest on, and what befell the meter this week. */
function basis(m: MachinesBody['machines'][number]): string {
  const parts = [m.by === 'meter' ? `hour meter${m.meter === null ? '' : ` at ${figure(m.meter, 0)}`}` : 'by its run state']
  if (m.replacements > 0) parts.push('replaced this week')
  if (m.resets > 0) parts.push('set back this week')
  if (m.rollovers > 0) parts.push('began again at 0 this week')
  return parts.join(', ')
}
