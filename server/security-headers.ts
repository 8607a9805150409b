/** Headers every answer carries. */

/**
 * Only what comes from here may be loaded, nothing written into the page runs, nobody may frame it. `self` covers the live
 * socket in current browsers; older ones want its address spelled out, so it is, when the Host header is one.
 */
export function policyFor(host: string | undefined): string {
  const socket = host !== undefined && /^[\w.-]+(:\d+)?$|^\[[\da-fA-F:]+\](:\d+)?$/.test(host) ? ` ws://${host} wss://${host}` : ''
  return `default-src 'self'; connect-src 'self'${socket}; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'`
}

export const securityHeaders = (host: string | undefined): Readonly<Record<string, string>> => ({
  'content-security-policy': policyFor(host),
  'x-content-type-options': 'nosniff',
  'referrer-policy': 'no-referrer',
  'cross-origin-opener-policy': 'same-origin',
  'cross-origin-resource-policy': 'same-origin',
  'permissions-policy': 'camera=(), microphone=(), geolocation=(), payment=(), usb=()',
})
