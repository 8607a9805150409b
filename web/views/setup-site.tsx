/** One site file: fetched, then edited as a form or as text. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { SiteFileBody } from '../../server/wire.ts'
import { getSiteFile } from '../link/setup.ts'
import { to } from '../router.ts'
import { Editor } from './setup-editor.tsx'

export function SitePage({ file }: { file: string }) {
  const body = useSignal<SiteFileBody | null>(null)
  const fault = useSignal('')
  useEffect(() => {
    void getSiteFile(file).then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [])
  const b = body.value
  const name = typeof b?.fields?.name === 'string' ? b.fields.name : file
  document.title = `Setup: ${name} · Loopkeeper`
  return (
    <main id="main" class="change setup">
      <div class="name">
        <h1>
          <small>
            <a href={to.setup()}>Setup</a>
          </small>
          {name}
        </h1>
        <p>
          <span class="break">{file}</span>
          {b?.site && Object.keys(b.inForce).length > 0 && (
            <>
              <br />
              <a href={to.loop(b.site)}>The loop</a>
              <a href={to.rules(b.site)}>Its alarm rules</a>
              <a href={to.setup('credentials')}>Credentials</a>
            </>
          )}
        </p>
      </div>
      {!b && <p class={fault.value ? 'refused' : 'mute'}>{fault.value || 'Asking the server.'}</p>}
      {b?.locked && <p class="own">{b.locked}</p>}
      {b && <Editor file={b.file} text={b.text} fields={b.fields} mark={b.mark} faults={b.faults} locked={b.locked} inForce={b.inForce} />}
    </main>
  )
}
