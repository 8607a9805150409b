/** Debian's Chromium, for looking at pages; and the built page it looks at. */
import { existsSync, readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { chromium, type Browser } from 'playwright-core'

export const CHROMIUM = '/usr/bin/chromium'
export const PAGE = fileURLToPath(new URL('../../web/dist', import.meta.url))

/** Why no page can be looked at here, or null. */
export function whyNot(): string | null {
  if (!existsSync(CHROMIUM)) return `no browser at ${CHROMIUM}: apt-get install chromium`
  if (!existsSync(`${PAGE}/index.html`)) return 'the page has not been built: npx vite build'
  return null
}

export const openBrowser = (): Promise<Browser> =>
  chromium.launch({
    executablePath: CHROMIUM,
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
      '--force-color-profile=srgb',
    ],
  })

/** Script and style of the built page in bytes as gzip sends them is what people on a phone wait for. */
export const pageText = (): string => readFileSync(`${PAGE}/index.html`, 'utf8')
