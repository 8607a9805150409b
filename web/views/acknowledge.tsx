/** The one press that says "I have it", or lets an answered, latched alarm go. Shown as given only when the server has said so; a refusal is told in words. */
import { useSignal } from '@preact/signals'
import type { AlarmBody } from '../../server/wire.ts'
import { acknowledge, reset } from '../link/api.ts'

interface Props {
  readonly alarm: AlarmBody
  readonly words: string
  readonly main?: boolean
  readonly onDone?: (a: AlarmBody) => void
  /** The alarm has moved on meanwhile: ask for it anew. */
  readonly onRefused?: () => void
}

export function Acknowledge({ alarm, words, main = false, onDone, onRefused }: Props) {
  const state = useSignal<'ready' | 'sending' | 'failed'>('ready')
  const message = useSignal('')
  const latched = alarm.state === 'latched-acknowledged'
  if (alarm.priority === 'alert' || alarm.occurrence === null || alarm.shown === 'acknowledged' || alarm.shown === 'normal' || alarm.shown !== alarm.state) return null
  const press = async (): Promise<void> => {
    if (state.value === 'sending') return
    state.value = 'sending'
    message.value = ''
    const result = await (latched ? reset(alarm) : acknowledge(alarm))
    if (result.ok) {
      state.value = 'ready'
      onDone?.(result.body)
      return
    }
    state.value = 'failed'
    if (result.status === 409) onRefused?.()
    message.value = result.status === 0 ? 'Not sent: no link to the server. Press again when it is back, or call.' : result.message
  }
  return (
    <>
      <button type="button" class={`btn${main ? ' main' : ''}`} aria-disabled={state.value === 'sending'} onClick={() => void press()}>
        {state.value === 'sending' ? 'Not sent yet, trying' : latched ? 'Reset, it is safe again' : words}
      </button>
      {message.value && (
        <p class="refused" role="alert">
          {message.value}
        </p>
      )}
    </>
  )
}
