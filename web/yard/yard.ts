/**
 * Keeps the yard page fresh, and says within 30 s when it no longer is: every 12 s it asks for the page again and puts what changed in its
 * place. A report that could not be sent is not shown as sent.
 */
import './yard.css'

const EVERY_MS = 12_000
const PATIENCE_MS = 8_000
/** 12 s until the next asking, 8 s until it is given up, and a little. */
const DEAD_MS = 24_000

const main = document.querySelector('main')
const path = main?.dataset['path']
const part = (id: string): HTMLElement | null => document.getElementById(id)
let heardAt = performance.now()
let asking = false

function show(text: string): void {
  const fresh = new DOMParser().parseFromString(text, 'text/html')
  const there = fresh.querySelector('main')
  // Withdrawn meanwhile: the page that says so has nothing to keep fresh.
  if (there && !there.dataset['path']) {
    main?.replaceChildren(...there.childNodes)
    return
  }
  for (const old of document.querySelectorAll('[data-fresh]')) {
    const next = fresh.getElementById(old.id)
    if (next && next.innerHTML !== old.innerHTML) old.replaceChildren(...next.childNodes)
  }
}

/** Says whether the link is dead; the seconds stand there, and are not read out. */
function look(): void {
  const quietMs = performance.now() - heardAt
  const dead = quietMs > DEAD_MS
  document.body.classList.toggle('old', dead)
  const box = part('dead')
  if (box) box.hidden = !dead
  const text = part('deadFor')
  if (dead && text) text.textContent = `${main?.dataset['noLink'] ?? ''}: ${Math.floor(quietMs / 1000)}\u00a0s`
}

async function refresh(): Promise<void> {
  if (asking || !path) return
  asking = true
  try {
    const reply = await fetch(path, { cache: 'no-store', signal: AbortSignal.timeout(PATIENCE_MS) })
    if (reply.ok || reply.status === 404) {
      show(await reply.text())
      heardAt = performance.now()
    }
  } catch {
    // No link: look() says so when it lasts.
  }
  asking = false
  look()
}

function saySaid(text: string): void {
  const box = document.createElement('p')
  box.className = 'said refused strong'
  box.textContent = text
  part('said')?.replaceChildren(box)
  scrollTo(0, 0)
}

async function send(form: HTMLFormElement, submitter: HTMLElement | null): Promise<void> {
  if (form.dataset['sending']) return
  form.dataset['sending'] = 'yes'
  saySaid(`${main?.dataset['sending'] ?? ''} …`)
  try {
    const body = new URLSearchParams()
    if (submitter instanceof HTMLButtonElement) body.set(submitter.name, submitter.value)
    const reply = await fetch(form.action, { method: 'POST', body, signal: AbortSignal.timeout(PATIENCE_MS) })
    const text = await reply.text()
    const said = new DOMParser().parseFromString(text, 'text/html').getElementById('said')
    if (!said) throw new Error('no answer of ours')
    show(text)
    part('said')?.replaceChildren(...said.childNodes)
    for (const d of document.querySelectorAll('details')) d.open = false
  } catch {
    saySaid(main?.dataset['notSent'] ?? '')
  }
  delete form.dataset['sending']
}

if (path) {
  setInterval(() => void refresh(), EVERY_MS)
  setInterval(look, 1000)
  document.addEventListener('visibilitychange', () => {
    if (document.hidden) return
    look()
    void refresh()
  })
  document.addEventListener('submit', (e) => {
    if (!(e.target instanceof HTMLFormElement)) return
    e.preventDefault()
    void send(e.target, e.submitter)
  })
}
