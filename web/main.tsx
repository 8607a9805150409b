/** The page: link, store, views. */
import './zod-setup.ts'
import '@fontsource-variable/atkinson-hyperlegible-next/index.css'
import './tokens.css'
import './page.css'
import { render } from 'preact'
import { startLive } from './link/live.ts'
import { startRouter } from './router.ts'
import { App } from './views/app.tsx'

const root = document.getElementById('page')
if (root) {
  startRouter()
  startLive()
  render(<App />, root)
}
