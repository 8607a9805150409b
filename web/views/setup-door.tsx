/** The setup pages are fetched when somebody opens one: nobody needs them at night. */
import { useSignal } from '@preact/signals'
import type { ComponentType } from 'preact'
import { useEffect } from 'preact/hooks'

export function SetupDoor({ path }: { path: readonly string[] }) {
  const page = useSignal<ComponentType<{ path: readonly string[] }> | null>(null)
  const failed = useSignal(false)
  useEffect(() => {
    import('./setup.tsx').then(
      (m) => (page.value = m.SetupPage),
      () => (failed.value = true),
    )
  }, [])
  const Page = page.value
  if (Page) return <Page path={path} />
  return (
    <main id="main" class="plain">
      <h1 class="title">Setup</h1>
      <p>{failed.value ? 'This page could not be fetched: load it again when the link is back.' : 'Asking the server.'}</p>
    </main>
  )
}
