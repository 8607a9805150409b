/** The fixed foot of the night call, thumb high: first "I have it", then "I am on site" and what was found. */
import { useSignal } from '@preact/signals'
import type { AlarmBody } from '../../server/wire.ts'
import { addEntry } from '../link/api.ts'
import { to } from '../router.ts'
import { answer } from '../state/sentence.ts'
import { heard, now } from '../state/store.ts'
import { Acknowledge } from './acknowledge.tsx'

interface Props {
  readonly alarm: AlarmBody
  readonly yardPhone: string | null
  readonly onAnswer: (a: AlarmBody) => void
  readonly onRefused: () => void
}

export function AlarmFoot({ alarm: a, yardPhone, onAnswer, onRefused }: Props) {
  const taken = a.acknowledgedBy !== null
  return (
    <div class="foot">
      {heard.value.state !== 'live' && <p>No link to the server: what stands here is as last heard.</p>}
      <p class="vh" role="status">
        {taken ? answer(a, now.peek()) : ''}
      </p>
      <Acknowledge alarm={a} words="Acknowledge, I have it" main onDone={onAnswer} onRefused={onRefused} />
      {a.state === 'acknowledged' && (
        <a class="btn main" href={to.log(a.site)}>
          Write what you found
        </a>
      )}
      <div class="two">
        {yardPhone === null ? (
          <a class="btn" href={to.loop(a.site)}>
            The loop
          </a>
        ) : (
          <a class="btn" href={`tel:${dialled(yardPhone)}`}>
            Call the yard
          </a>
        )}
        {taken ? (
          <OnSite alarm={a} />
        ) : (
          <a class="btn" href={to.trends(a.site, a.signal ? [a.signal] : [])}>
            Trend
          </a>
        )}
      </div>
    </div>
  )
}

/** `555-0103 (berth office)` as a telephone dials it. */
const dialled = (text: string): string => text.replace(/\(.*\)/, '').replace(/[^\d+]/g, '')

/** Writes the beginning of a visit into the site log, so that others know who is there. Shown as written only when the server has said so. */
function OnSite({ alarm: a }: { alarm: AlarmBody }) {
  const state = useSignal<'ready' | 'sending' | 'written'>('ready')
  const message = useSignal('')
  const press = async (): Promise<void> => {
    if (state.value !== 'ready') return
    state.value = 'sending'
    const r = await addEntry({ site: a.site, kind: 'visit-in', atMs: Math.round(now.peek()), about: a.id, text: a.what })
    state.value = r.ok ? 'written' : 'ready'
    message.value = r.ok ? '' : `Not written: ${r.message}`
  }
  if (state.value === 'written') return <p class="written">In the site log: you are on site.</p>
  return (
    <>
      <button type="button" class="btn" onClick={() => void press()}>
        {state.value === 'sending' ? 'Not sent yet, trying' : 'I am on site'}
      </button>
      {message.value && (
        <p class="refused" role="alert">
          {message.value}
        </p>
      )}
    </>
  )
}
