/** What arrives and is not taken, what arrives and is in no site file, and what each site sends against its data plan. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { QuarantineBody, TrafficBody, UnassignedBody } from '../../server/wire.ts'
import { getQuarantine, getTraffic, getUnassigned } from '../link/api.ts'
import { now } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { Rejects } from './intake-rejects.tsx'
import { Traffic } from './intake-traffic.tsx'
import { Unassigned } from './intake-unassigned.tsx'

const EVERY_MS = 5000

export function IntakePage() {
  const quarantine = useSignal<QuarantineBody | null>(null)
  const unassigned = useSignal<UnassignedBody | null>(null)
  const traffic = useSignal<TrafficBody | null>(null)
  const fault = useSignal('')
  const beat = Math.floor(now.value / EVERY_MS)
  useEffect(() => {
    void Promise.all([getQuarantine(), getUnassigned(), getTraffic()]).then(([q, u, t]) => {
      if (q.ok) quarantine.value = q.body
      if (u.ok) unassigned.value = u.body
      if (t.ok) traffic.value = t.body
      const refused = [q, u, t].find((r) => !r.ok)
      fault.value = refused && !refused.ok ? refused.message : ''
    })
  }, [beat])
  document.title = 'Intake · Loopkeeper'
  const refused = quarantine.value && Object.values(quarantine.value.totals).reduce((a, b) => a + b, 0)
  return (
    <main id="main">
      <div class="name">
        <h1>Intake</h1>
        {refused !== null && unassigned.value && (
          <p>
            {figure(refused, 0)} refused since the start, {unassigned.value.signals.length === 1 ? '1 signal' : `${figure(unassigned.value.signals.length, 0)} signals`} in no site
            file
          </p>
        )}
      </div>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
      {quarantine.value && <Rejects body={quarantine.value} />}
      {unassigned.value && <Unassigned body={unassigned.value} />}
      {traffic.value && <Traffic body={traffic.value} />}
    </main>
  )
}
