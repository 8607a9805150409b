/** The link of the yard page of a loop: made, shown once, replaced, withdrawn. */
import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { YardLinkBody, YardLinkMadeBody } from '../../server/wire.ts'
import { getYardLink, makeYardLink, withdrawYardLink, type Answer } from '../link/api.ts'
import { now } from '../state/store.ts'
import { moment } from '../words/times.ts'

export function YardLink({ site, zone }: { site: string; zone: string }) {
  const link = useSignal<YardLinkBody['link']>(null)
  const made = useSignal<YardLinkMadeBody | null>(null)
  const known = useSignal(false)
  const busy = useSignal(false)
  const refused = useSignal('')
  useEffect(() => {
    void getYardLink(site).then((r) => {
      if (!r.ok) return
      link.value = r.body.link
      known.value = true
    })
  }, [site])
  const act = async <T,>(ask: () => Promise<Answer<T>>, done: (body: T) => void): Promise<void> => {
    if (busy.value) return
    busy.value = true
    refused.value = ''
    const r = await ask()
    busy.value = false
    if (r.ok) done(r.body)
    else refused.value = r.message
  }
  const make = (): Promise<void> =>
    act(
      () => makeYardLink(site),
      (body) => {
        made.value = body
        link.value = body
      },
    )
  const withdraw = (): Promise<void> =>
    act(
      () => withdrawYardLink(site),
      (body) => {
        made.value = null
        link.value = body.link
      },
    )
  return (
    <section class="yardLink">
      <h2 class="sec">Yard page</h2>
      <p class="mute">
        For drivers and the yard, by a sign on the panel: washing left, when not to wash, what can hurt, and three reports. No account; its link opens this page of this loop only.
      </p>
      {made.value !== null && (
        <div class="own" role="status">
          <p>
            Shown only now:{' '}
            <a href={made.value.path} target="_blank" rel="noreferrer">
              <b>{location.host + made.value.path}</b>
            </a>
          </p>
          <p>
            <a href={made.value.sheet} target="_blank" rel="noreferrer">
              Sheet for the sign, to print
            </a>
          </p>
        </div>
      )}
      {known.value && (
        <p>
          {link.value === null
            ? 'No link yet.'
            : `Link made by ${link.value.by}, ${moment(link.value.madeMs, zone, now.value)}. It is not kept and cannot be shown again; a new one takes its place, and the sign must be changed.`}
        </p>
      )}
      <div class="acts">
        <button type="button" class="btn" aria-disabled={busy.value} onClick={() => void make()}>
          {link.value === null ? 'Make a link' : 'Replace the link'}
        </button>
        {link.value !== null && (
          <button type="button" class="btn" aria-disabled={busy.value} onClick={() => void withdraw()}>
            Withdraw it
          </button>
        )}
      </div>
      {refused.value && (
        <p class="refused" role="alert">
          {refused.value}
        </p>
      )}
    </section>
  )
}
