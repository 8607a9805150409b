/** The first question at three in the morning: must I get up? Verdict first, the arithmetic behind one press. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { AlarmBody, CallBody } from '../../server/wire.ts'
import { getCall } from '../link/api.ts'
import { arithmetic, blockSentence, verdictOf } from '../state/call.ts'
import { now } from '../state/store.ts'

const AGAIN_MS = 60_000

export function GetUp({ alarm: a }: { alarm: AlarmBody }) {
  const body = useSignal<CallBody | null>(null)
  useEffect(() => {
    const ask = (): void => void getCall(a.id).then((r) => r.ok && (body.value = r.body))
    ask()
    const timer = setInterval(ask, AGAIN_MS)
    return () => clearInterval(timer)
  }, [a.id, a.version])
  const b = body.value
  if (!b) return null
  const nowMs = now.value
  const block = blockSentence(b.entryBlock, a, nowMs)
  return (
    <section aria-labelledby="get-up">
      {block && (
        <p class="block" role="alert">
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
