/** The pages of signing in: plain HTML, no script, readable on any phone. */

const escaped = (text: string): string => text.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`)

const page = (title: string, body: string): string => `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>${title} · Loopkeeper</title>
<link rel="stylesheet" href="/signin.css">
</head>
<body>
<main>
<p class="product">Loopkeeper</p>
${body}
</main>
</body>
</html>
`

/** `problem`: what was wrong with the name given before. */
export function signInPage(once: string, leftMs: number, problem: string | null = null): string {
  const minutes = Math.max(1, Math.ceil(leftMs / 60_000))
  return page(
    'Sign in',
    `<h1>Sign in on this browser</h1>
${problem === null ? '' : `<p class="problem" role="alert">${escaped(problem)}</p>\n`}<form method="post" action="/signin">
<input type="hidden" name="once" value="${escaped(once)}">
<label for="name">Your name, as others will see it</label>
<input id="name" name="name" required maxlength="80" autocomplete="name" autofocus>
<p class="note">It stands beside every alarm you answer and every log entry you write.</p>
<button type="submit">Sign in on this browser</button>
</form>
<p class="note">This link works once and for another ${minutes} min. This browser then stays signed in for 30 days: use it only on a device that is yours.</p>`,
  )
}

export const spentPage = (): string =>
  page(
    'Link not valid',
    `<h1>This link is not valid any more</h1>
<p>A sign-in link works once and for 15 minutes. Ask whoever runs the server for a new one; it is printed when the server starts.</p>
<p><a href="/">To the page</a></p>`,
  )

export const SIGN_IN_STYLE = `:root { color-scheme: light dark; --page: #f0f3f2; --sheet: #fbfdfd; --ink: #132121; --ink-2: #3a4848; --edge: #707c7b; --on-ink: #fbfdfd }
@media (prefers-color-scheme: dark) { :root { --page: #091111; --sheet: #111a1a; --ink: #e1e8e7; --ink-2: #b2bdbc; --edge: #677575; --on-ink: #091111 } }
body { margin: 0; background: var(--page); color: var(--ink); font: 16px/1.4 "Atkinson Hyperlegible Next", system-ui, sans-serif }
main { max-width: 26rem; margin: 0 auto; padding: 32px 16px }
.product { font-weight: 650; border-bottom: 2px solid var(--ink); padding-bottom: 8px }
h1 { font-size: 28px; line-height: 1.1; font-weight: 650 }
label { display: block; margin-bottom: 4px; font-weight: 600 }
input:not([type=hidden]) { box-sizing: border-box; width: 100%; height: 44px; padding: 0 12px; border: 1px solid var(--edge); border-radius: 3px; background: var(--sheet); color: inherit; font: inherit }
button { width: 100%; min-height: 60px; margin: 16px 0; border: 0; border-radius: 3px; background: var(--ink); color: var(--on-ink); font: inherit; font-size: 18px; font-weight: 600 }
:focus-visible { outline: 3px solid var(--ink); outline-offset: 2px }
.problem { border-left: 6px solid var(--ink); padding-left: 12px; font-weight: 600 }
.note { color: var(--ink-2); font-size: 14px }
a { color: inherit }
`
