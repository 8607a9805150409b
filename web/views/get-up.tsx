/** The first question at three in the morning: must I get up? Verdict first, the arithmetic behind one press. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { AlarmBody, CallBody } from '../../server/wire.ts'
import { getCall } from '../link/api.ts'
import { arithmetic, blockSentence, verdictOf } from '../state/call.ts'
import { now } from '../state/store.ts'

const AGAIN_MS = 60_000

/** What the wake rule says of an alarm, asked for again every minute; undefined: not heard yet, null: it cannot be had. */
export function useCall(a: AlarmBody): CallBody | null | undefined {
  const body = useSignal<CallBody | null | undefined>(undefined)
  useEffect(() => {
    const ask = (): void =>
      void getCall(a.id).then((r) => {
        if (r.ok) body.value = r.body
        else body.value ??= null
      })
    ask()
    const timer = setInterval(ask, AGAIN_MS)
    return () => clearInterval(timer)
  }, [a.id, a.version])
  return body.value
}

export function GetUp({ alarm: a, call: b }: { alarm: AlarmBody; call: CallBody | null | undefined }) {
  if (!b) return null
  const nowMs = now.value
  const block = blockSentence(b.entryBlock, a, nowMs)
  return (
    <section aria-labelledby={b.call ? 'get-up' : undefined}>
      {block && (
        <p class="entryBlock" role="alert">
          <b>{block.slice(0, block.indexOf('.') + 1)}</b>
          {block.slice(block.indexOf('.') + 1)}
        </p>
      )}
      {b.call && (
        <>
          <h2 id="get-up">Must I get up?</h2>
          <p class="verdict">{verdictOf(b.call, a.zone, nowMs)}</p>
          <details class="reckoned">
            <summary>How that was reckoned</summary>
            <ul>
              {arithmetic(b.call, a.zone, nowMs).map((l) => (
                <li key={l}>{l}</li>
              ))}
            </ul>
          </details>
        </>
      )}
    </section>
  )
}
