/**
 * Parts of the page that are loaded when somebody first asks for them, so that the call at night waits for nothing it does not
 * need. A part that cannot be had says so in words and is asked for again on a press.
 */
import { signal, type Signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { ComponentType } from 'preact'

type State<P> = { readonly is: 'asking' } | { readonly is: 'there'; readonly View: ComponentType<P> } | { readonly is: 'failed' }

/** Where it is kept for which page of the server this tab has loaded itself anew: once each, never in a circle. */
const RENEWED = 'loopkeeper-renewed-for'

/**
 * A component that stands for a part until it is there. `what`: "the trends", for sentences. `inner`: it stands inside a page
 * and brings no `main` of its own.
 */
export function later<P extends object>(what: string, load: () => Promise<ComponentType<P>>, inner = false): ComponentType<P> {
  const state: Signal<State<P>> = signal({ is: 'asking' })
  let going = false
  const ask = async (pressed: boolean): Promise<void> => {
    if (going) return
    going = true
    if (pressed) state.value = { is: 'asking' }
    try {
      state.value = { is: 'there', View: await load() }
    } catch {
      const served = await servedScript()
      // A browser may remember that a script could not be had: on a press, with a server that answers, the whole page is loaded.
      if (served !== null && (pressed || isNewer(served))) location.reload()
      else state.value = { is: 'failed' }
    }
    going = false
  }
  return function Later(props: P) {
    const s = state.value
    useEffect(() => void (state.peek().is === 'there' || ask(false)), [])
    if (s.is === 'there') return <s.View {...props} />
    const said =
      s.is === 'asking' ? (
        <p class="mute" role="status">
          Loading {what}.
        </p>
      ) : (
        <>
          {!inner && <h1 class="title">Not loaded</h1>}
          <p role="alert">
            <b>{what.slice(0, 1).toUpperCase() + what.slice(1)} could not be loaded:</b> no link to the server, or it is starting. What is open elsewhere on this page still runs.
          </p>
          <p>
            <button type="button" class="btn main" onClick={() => void ask(true)}>
              Load it again
            </button>
          </p>
        </>
      )
    return inner ? (
      <div>{said}</div>
    ) : (
      <main id="main" class="plain">
        {said}
      </main>
    )
  }
}

/** Path of the script the server's page starts with now; null: no answer. */
async function servedScript(): Promise<string | null> {
  try {
    const r = await fetch('/', { cache: 'no-store', credentials: 'same-origin' })
    return r.ok ? (/<script[^>]+src="([^"]+)"/.exec(await r.text())?.[1] ?? null) : null
  } catch {
    return null
  }
}

/** The server has another page than this one, and this tab has not yet been loaded anew for it. Notes that it now will be. */
function isNewer(served: string): boolean {
  const own = document.querySelector<HTMLScriptElement>('script[type="module"][src]')?.getAttribute('src')
  if (own === served) return false
  try {
    if (sessionStorage.getItem(RENEWED) === served) return false
    sessionStorage.setItem(RENEWED, served)
    return true
  } catch {
    // Where nothing may be kept, nothing would end the circle: the person is asked instead.
    return false
  }
}
