/** A secret, the only time it is shown. */
import { useSignal } from '@preact/signals'

export function Secret({ site, secret }: { site: string; secret: string }) {
  const copied = useSignal('')
  const copy = async (): Promise<void> => {
    copied.value = await navigator.clipboard.writeText(secret).then(
      () => 'Copied.',
      () => 'Not copied: select it by hand.',
    )
  }
  return (
    <div class="own secret">
      <p>
        <b>Credential of {site}, shown only now.</b> Put it into the controller before you leave this page; a lost one is replaced by a new one.
      </p>
      <dl>
        <dt>User name</dt>
        <dd>
          <code>{site}</code>
        </dd>
        <dt>Password</dt>
        <dd>
          <code>{secret}</code>
        </dd>
      </dl>
      <p>
        <button type="button" class="btn" onClick={() => void copy()}>
          Copy the password
        </button>{' '}
        {copied.value}
      </p>
    </div>
  )
}
