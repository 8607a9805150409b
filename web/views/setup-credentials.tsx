/** Credentials of the own broker: when each was last used; made anew, withdrawn. A secret is shown once. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { CredentialsBody } from '../../server/wire.ts'
import { getCredentials, replaceCredential, withdrawCredential } from '../link/setup.ts'
import { to } from '../router.ts'
import { now } from '../state/store.ts'
import { age, moment, ownZone } from '../words/times.ts'
import { Secret } from './setup-secret.tsx'

type Line = CredentialsBody['sites'][number]
const EVERY_MS = 5000

export function CredentialsPage() {
  const body = useSignal<CredentialsBody | null>(null)
  const fault = useSignal('')
  const secret = useSignal<{ readonly site: string; readonly secret: string } | null>(null)
  const done = useSignal('')
  const ask = async (): Promise<void> => {
    const r = await getCredentials()
    if (r.ok) body.value = r.body
    fault.value = r.ok ? '' : r.message
  }
  const beat = Math.floor(now.value / EVERY_MS)
  useEffect(() => void ask(), [beat])
  document.title = 'Credentials · Loopkeeper'
  const b = body.value
  return (
    <main id="main">
      <div class="name">
        <h1>
          <small>
            <a href={to.setup()}>Setup</a>
          </small>
          Credentials
        </h1>
      </div>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
      {b?.locked && <p class="own">{b.locked}</p>}
      <p class="note">A loop signs in to the own broker with its id as user name and its credential as password. A credential made anew ends the old one within seconds.</p>
      {b && b.outside.length > 0 && (
        <p class="own">
          Readings also come through {b.outside.join(', ')}. The credentials of controllers there live in that broker: they are made and withdrawn by whoever runs it. Here stands
          only our own way in, the settings --broker-user, --broker-password-file and --broker-cert-file.
        </p>
      )}
      <div role="status">
        {secret.value && <Secret key={secret.value.secret} site={secret.value.site} secret={secret.value.secret} />}
        {done.value && <p class="taken">{done.value}</p>}
      </div>
      {b?.sites.length === 0 && <p class="nobody">No loops, so no credentials.</p>}
      <ul class="credentials">
        {b?.sites.map((s) => (
          <OneCredential
            key={s.site}
            line={s}
            locked={b.locked !== null}
            replaced={(x) => {
              secret.value = x
              done.value = ''
              scrollTo(0, 0)
              void ask()
            }}
            withdrawn={() => {
              secret.value = null
              done.value = `The credential of ${s.siteName} is withdrawn: its connections end within seconds, and nothing is taken from it.`
              void ask()
            }}
          />
        ))}
      </ul>
    </main>
  )
}

interface Props {
  readonly line: Line
  readonly locked: boolean
  readonly replaced: (secret: { readonly site: string; readonly secret: string }) => void
  readonly withdrawn: () => void
}

function OneCredential({ line: s, locked, replaced, withdrawn }: Props) {
  const asked = useSignal<'replace' | 'withdraw' | null>(null)
  const state = useSignal<{ readonly sending: boolean; readonly fault: string }>({ sending: false, fault: '' })
  const act = async (): Promise<void> => {
    if (state.value.sending) return
    state.value = { sending: true, fault: '' }
    if (asked.value === 'replace') {
      const r = await replaceCredential(s.site)
      state.value = { sending: false, fault: r.ok ? '' : `Not made: ${r.message}` }
      if (!r.ok) return
      asked.value = null
      return replaced(r.body)
    }
    const r = await withdrawCredential(s.site)
    state.value = { sending: false, fault: r.ok ? '' : `Not withdrawn: ${r.message}` }
    if (!r.ok) return
    asked.value = null
    withdrawn()
  }
  const has = s.createdMs !== null
  return (
    <li>
      <p>
        <b>{s.siteName}</b>
        <span class="block mute break">{s.site}</span>
        {!s.known && <span class="block">No site file has this id: the credential opens nothing.</span>}
      </p>
      <p>
        {s.createdMs === null ? 'No credential' : s.usedMs === null ? <b>Never used</b> : `Last used ${ago(now.value - s.usedMs)}`}
        {s.createdMs !== null && <span class="block mute">made {moment(s.createdMs, ownZone(), now.value)}</span>}
      </p>
      {!locked && (
        <div class="acts">
          {s.known && (
            <button type="button" class="btn" aria-expanded={asked.value === 'replace'} onClick={() => (asked.value = asked.value === 'replace' ? null : 'replace')}>
              {has ? 'Replace' : 'Make one'}
              <span class="vh"> for {s.siteName}</span>
            </button>
          )}
          {has && (
            <button type="button" class="btn" aria-expanded={asked.value === 'withdraw'} onClick={() => (asked.value = asked.value === 'withdraw' ? null : 'withdraw')}>
              Withdraw<span class="vh"> that of {s.siteName}</span>
            </button>
          )}
        </div>
      )}
      {asked.value && (
        <div class="sure">
          <p>
            {asked.value === 'withdraw'
              ? 'Its controller is cut off within seconds, and nothing is taken from it until it has a new one: the loop goes silent.'
              : has
                ? 'The old one ends: its controller is cut off within seconds, until somebody has put the new one in. The loop is silent meanwhile.'
                : 'It is shown once: have the controller at hand.'}
          </p>
          <div class="acts">
            <button type="button" class="btn main" aria-disabled={state.value.sending} onClick={() => void act()}>
              {state.value.sending ? 'Asking the server' : asked.value === 'withdraw' ? 'Yes, withdraw it' : has ? 'Yes, make it anew' : 'Yes, make it'}
            </button>
            <button type="button" class="btn" onClick={() => (asked.value = null)}>
              Leave it
            </button>
          </div>
          {state.value.fault && (
            <p class="refused" role="alert">
              {state.value.fault}
            </p>
          )}
        </div>
      )}
    </li>
  )
}

const ago = (ms: number): string => (ms < 60_000 ? 'within the last minute' : `${age(ms)} ago`)
