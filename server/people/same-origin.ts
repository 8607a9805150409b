/** Whether a request comes from our own page. Browsers tell it in two headers that scripts cannot set. */
export interface OriginHeaders {
  readonly host?: string | undefined
  readonly origin?: string | undefined
  readonly 'sec-fetch-site'?: string | string[] | undefined
}

export type OriginVerdict = 'same' | 'other' | 'untold'

/**
 * `same` when Origin is exactly http(s)://<Host>; with no Origin, when Sec-Fetch-Site says same-origin. `untold` when neither
 * header is there: no browser of the last years sends a POST or opens a socket like that, so it is a program.
 * The scheme is not compared: behind a proxy with TLS the page is https and our Host header the same.
 */
export function originOf(h: OriginHeaders): OriginVerdict {
  const site = h['sec-fetch-site']
  if (site !== undefined && site !== 'same-origin') return 'other'
  if (h.origin !== undefined) return h.host !== undefined && (h.origin === `http://${h.host}` || h.origin === `https://${h.host}`) ? 'same' : 'other'
  return site === undefined ? 'untold' : 'same'
}
