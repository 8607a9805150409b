/** Setup: the sites with what is wrong in their files, what waits for somebody, and the ways to the forms. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { SetupBody } from '../../server/wire.ts'
import { getSetup } from '../link/setup.ts'
import { to } from '../router.ts'
import { now } from '../state/store.ts'
import { age, date } from '../words/times.ts'
import { CredentialsPage } from './setup-credentials.tsx'
import { NewSitePage } from './setup-new.tsx'
import { SitePage } from './setup-site.tsx'

export function SetupPage({ path: [what, file] }: { path: readonly string[] }) {
  if (what === 'sites' && file !== undefined) return <SitePage key={file} file={file} />
  if (what === 'new') return <NewSitePage />
  if (what === 'credentials') return <CredentialsPage />
  return <Overview />
}

const EVERY_MS = 5000

function Overview() {
  const body = useSignal<SetupBody | null>(null)
  const fault = useSignal('')
  const beat = Math.floor(now.value / EVERY_MS)
  useEffect(() => {
    void getSetup().then((r) => {
      if (r.ok) body.value = r.body
      fault.value = r.ok ? '' : r.message
    })
  }, [beat])
  document.title = 'Setup · Loopkeeper'
  const b = body.value
  return (
    <main id="main">
      <div class="name">
        <h1>Setup</h1>
        {b && (
          <p>
            {b.files.length === 1 ? '1 site file' : `${b.files.length} site files`} in {b.folder}
          </p>
        )}
      </div>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
      {!b && !fault.value && <p class="mute">Asking the server.</p>}
      {b?.locked && <p class="own">{b.locked}</p>}
      {b && (
        <>
          <div class="tools">
            <a class="btn main" href={to.setup('new')}>
              Add a site
            </a>
            <a class="btn" href={to.setup('credentials')}>
              Credentials
            </a>
          </div>
          <Waiting b={b} />
          <Sites b={b} />
        </>
      )}
    </main>
  )
}

/** What somebody should look at. */
function Waiting({ b }: { b: SetupBody }) {
  const faulty = b.files.filter((f) => f.faults.length > 0)
  if (faulty.length + b.faults.length + b.unassigned + b.reviews.length + b.unused.length === 0) {
    return (
      <p class="nobody">
        <b>Nothing waits here.</b> Every file can be read, every signal stands in one, every credential is used.
      </p>
    )
  }
  return (
    <section aria-labelledby="waiting">
      <h2 class="sec" id="waiting">
        Waits for somebody
      </h2>
      <ul class="waits">
        {faulty.map((f) => (
          <li key={f.file}>
            <a href={to.setup('sites', f.file)}>{f.file}</a> cannot be used: line {f.faults[0]?.line}
            {f.faults[0]?.field ? `, ${f.faults[0].field}` : ''}: {f.faults[0]?.message}
            {f.faults.length > 1 && ` And ${f.faults.length - 1} more.`}
          </li>
        ))}
        {b.faults.map((f, i) => (
          <li key={i}>
            {b.files.some((x) => x.file === f.file) ? <a href={to.setup('sites', f.file)}>{f.file}</a> : f.file}, line {f.line}
            {f.field ? `, ${f.field}` : ''}: {f.message}
          </li>
        ))}
        {b.unassigned > 0 && (
          <li>
            <a href={to.intake()}>{b.unassigned === 1 ? '1 signal' : `${b.unassigned} signals`}</a> {b.unassigned === 1 ? 'arrives and stands' : 'arrive and stand'} in no site
            file.
          </li>
        )}
        {b.reviews.map((r) => (
          <li key={r.site}>
            <a href={to.rules(r.site)}>Alarms of {r.siteName}</a> are to be gone through
            {r.dueMs === null ? '' : ` since ${date(new Date(r.dueMs).toISOString().slice(0, 10))}`}. {r.why}
          </li>
        ))}
        {b.unused.length > 0 && (
          <li>
            <a href={to.setup('credentials')}>{b.unused.length === 1 ? '1 credential' : `${b.unused.length} credentials`}</a> never used:{' '}
            {b.unused
              .slice(0, 8)
              .map((u) => `${u.siteName} (made ${age(now.value - u.createdMs)} ago)`)
              .join(', ')}
            {b.unused.length > 8 && ` and ${b.unused.length - 8} more`}.
          </li>
        )}
      </ul>
    </section>
  )
}

function Sites({ b }: { b: SetupBody }) {
  return (
    <section aria-labelledby="sites">
      <h2 class="sec second" id="sites">
        Sites
      </h2>
      {b.files.length === 0 && <p class="nobody">No site files yet.</p>}
      <ul class="siteFiles">
        {b.files.map((f) => (
          <li key={f.file}>
            <a href={to.setup('sites', f.file)}>{f.name ?? f.file}</a>
            <span class="mute break">{f.file}</span>
            {f.faults.length > 0 && <b>{f.faults.length === 1 ? '1 fault' : `${f.faults.length} faults`}</b>}
          </li>
        ))}
      </ul>
    </section>
  )
}
