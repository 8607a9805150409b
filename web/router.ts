/** Addresses of the pages. The server gives the same page for all of them. */
import { signal } from '@preact/signals'

export interface Place {
  readonly path: readonly string[]
  readonly query: URLSearchParams
}

const read = (): Place => ({ path: location.pathname.split('/').filter(Boolean).map(decodeURIComponent), query: new URLSearchParams(location.search) })
export const here = signal<Place>(read())

/** Goes to an address of ours. `replace`: without a step in the browser's history. */
export function go(address: string, replace = false): void {
  if (replace) history.replaceState(null, '', address)
  else history.pushState(null, '', address)
  here.value = read()
  if (!replace) scrollTo(0, 0)
}

/** Follows links of ours without loading the page again. */
export function startRouter(): void {
  addEventListener('popstate', () => (here.value = read()))
  addEventListener('click', (e) => {
    if (e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return
    const a = e.target instanceof Element ? e.target.closest('a') : null
    if (
      !a ||
      a.target ||
      a.hasAttribute('download') ||
      a.origin !== location.origin ||
      a.pathname.startsWith('/api/') ||
      a.pathname === '/signin' ||
      a.pathname.startsWith('/yard/')
    )
      return
    e.preventDefault()
    go(a.pathname + a.search)
  })
}

const q = encodeURIComponent
export const to = {
  fleet: () => '/',
  loop: (site: string) => `/loops/${q(site)}`,
  alarms: () => '/alarms',
  change: (id: string) => `/alarms/${q(id)}/change`,
  /** What happened to one alarm or loop, and what was changed of it. */
  journal: (about: { readonly alarm?: string; readonly site?: string }) => `/alarms?${new URLSearchParams({ tab: 'history', ...about })}`,
  changes: (about: { readonly alarm?: string; readonly site?: string } = {}) => `/alarms?${new URLSearchParams({ tab: 'changes', ...about })}`,
  alarm: (id: string) => `/alarms/${q(id)}`,
  trends: (site: string, signals?: readonly string[]) => `/trends/${q(site)}${signals?.length ? `?signals=${signals.map(q).join(',')}` : ''}`,
  log: (site: string) => `/log/${q(site)}`,
  due: (site?: string) => `/due${site === undefined ? '' : `?site=${q(site)}`}`,
  rules: (site: string) => `/rules/${q(site)}`,
  intake: () => '/intake',
  setup: (...more: readonly string[]) => ['/setup', ...more.map(q)].join('/'),
  health: () => '/health',
}
