/** The line of an alarm page about its rule: whether it was another one when the alarm was raised, and the ways to change it and to look back. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { AlarmBody, ChangeableBody } from '../../server/wire.ts'
import { getChangeable } from '../link/changes.ts'
import { to } from '../router.ts'
import { newDefinitions } from '../state/store.ts'
import { RaisedUnder } from './raised-under.tsx'

export function AlarmRule({ alarm: a }: { alarm: AlarmBody }) {
  const found = useSignal<ChangeableBody | null>(null)
  const defined = newDefinitions.value?.site === a.site ? newDefinitions.value : null
  useEffect(() => void getChangeable(a.id).then((r) => r.ok && (found.value = r.body)), [a.id, a.occurrence, defined])
  return (
    <div class="ruleLinks">
      {found.value && <RaisedUnder alarm={found.value} />}
      <p>
        <a href={to.change(a.id)}>Change this alarm</a>
        <a href={to.changes({ alarm: a.id })}>Its changes</a>
        <a href={to.journal({ alarm: a.id })}>Its journal</a>
      </p>
    </div>
  )
}
