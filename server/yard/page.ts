/** The yard page as HTML: complete without a script; the script only keeps it fresh and says when the link is dead. */
import type { WashReason } from '../../gateway/alarms/do-not-wash.ts'
import type { Caution } from '../../gateway/site/cautions.ts'
import type { YardView, YardWater } from './view.ts'
import { REPORTS, type Report, type Spoken, type YardWords } from './words.ts'

const NBSP = '\u00a0'
export const escaped = (text: string): string => text.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`)

/** What the page says above all else after a report: written, or why not. */
export interface Said {
  readonly kind: 'written' | 'refused'
  readonly text: string
  readonly advice: string | null
}

const shell = ({ code }: Spoken, title: string, body: string): string => `<!doctype html>
<html lang="${code}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>${escaped(title)}</title>
<link rel="stylesheet" href="/yard.css">
<script src="/yard.js" type="module"></script>
<noscript><meta http-equiv="refresh" content="20"></noscript>
</head>
<body>
${body}
</body>
</html>
`

/** `path`: address of this page, without what follows it. */
export function yardPage(view: YardView, path: string, spoken: Spoken, said: Said | null = null): string {
  const { words } = spoken
  const at = clockFor(view, spoken.code)
  return shell(
    spoken,
    words.title(view.name),
    `<main data-path="${escaped(path)}" data-no-link="${escaped(words.noLink)}" data-not-sent="${escaped(words.notSent)}" data-sending="${escaped(words.sending)}">
<h1>${escaped(view.name)}</h1>
<div id="dead" class="stop" role="alert" hidden><b id="deadFor">${escaped(words.noLink)}</b> <span>${escaped(words.frozen)}</span></div>
<div id="said" role="status">${said ? saidPart(said) : ''}</div>
<div id="keepOut" data-fresh>${view.block ? `<div class="keepOut"><h2>${escaped(words.keepOut)}</h2><p>${escaped(words.keepOutText(view.block.what, words.since(at(view.block.sinceMs))))}</p></div>` : ''}</div>
<section aria-labelledby="leftName">
<h2 id="leftName">${escaped(words.washingLeft)}</h2>
<div id="left" data-fresh>${waterPart(view, words)}<p class="asOf">${escaped(words.asOf(at(view.nowMs, true)))}</p></div>
</section>
<div id="verdict" role="status" data-fresh>${verdictPart(view, words, at)}</div>
${phones(view, words)}
<section aria-labelledby="tell">
<h2 id="tell">${escaped(words.tell)}</h2>
<form method="post" action="${escaped(path)}/report">
<button name="what" value="foam">${escaped(words.foam)}</button>
<button name="what" value="smell">${escaped(words.smell)}</button>
<details>
<summary>${escaped(words.unusual)}</summary>
<p id="whatWasIt">${escaped(words.whatWasIt)}</p>
<div class="choices" role="group" aria-labelledby="whatWasIt">
${REPORTS.slice(2)
  .map((r) => `<button name="what" value="${r}">${escaped(words.report[r])}</button>`)
  .join('\n')}
</div>
</details>
</form>
<div id="lately" data-fresh>${lately(view, words, at)}</div>
</section>
<section aria-labelledby="hazards">
<h2 id="hazards">${escaped(words.hazards)}</h2>
<p class="strong">${escaped(words.emergency)}</p>
<ul class="hazards">
${view.hazards.map((c) => `<li>${escaped(hazardText(c, words))}</li>`).join('\n')}
</ul>
<p class="note">${escaped(words.decides)}</p>
</section>
</main>`,
  )
}

export function goneText({ code, words }: Spoken): string {
  return shell({ code, words }, words.linkGone, `<main>\n<h1>${escaped(words.linkGone)}</h1>\n<p>${escaped(words.linkGoneText)}</p>\n</main>`)
}

/** The sheet that hangs beside the panel. `address`: without the scheme, as one types it. */
export function signSheet(view: YardView, address: string, spoken: Spoken): string {
  const { words } = spoken
  const phone = view.carePhone ?? view.yardPhone
  return shell(
    spoken,
    words.sheetTitle,
    `<main class="sheet">
<p class="place">${escaped(view.name)}</p>
<h1>${escaped(words.sheetTitle)}</h1>
<p class="lead">${escaped(words.sheetText)}</p>
<p>${escaped(words.sheetType)}</p>
<p class="address">${escaped(address.slice(0, address.lastIndexOf('/') + 1)).replace(/\//g, '/<wbr>')}<span>${escaped(address.slice(address.lastIndexOf('/') + 1))}</span></p>
${phone === null ? '' : `<p class="lead">${escaped(words.call)}: <b>${escaped(phone)}</b></p>`}
<p class="strong">${escaped(words.emergency)}</p>
<p class="note">${escaped(words.sheetKeep)}</p>
</main>`,
  )
}

const saidPart = (said: Said): string =>
  `<div class="said ${said.kind}"><p class="strong">${escaped(said.text)}</p>${said.advice === null ? '' : `<p>${escaped(said.advice)}</p>`}</div>`

function waterPart({ water, nowMs }: YardView, words: YardWords): string {
  const figure = (text: string, unit: string, doubtful: boolean): string => `<p class="figure${doubtful ? ' doubtful' : ''}">${escaped(text)} <span>${escaped(unit)}</span></p>`
  const note = (text: string): string => `<p class="note">${escaped(text)}</p>`
  const read = (atMs: number): string => note(words.read(age(nowMs - atMs)))
  const doubt = (w: Extract<YardWater, { doubtful: boolean }>): string => (w.doubtful ? `<p class="strong">${escaped(words.doubtful)}</p>` : '')
  switch (water.kind) {
    case 'minutes':
      return figure(...leftText(water.minutes, words), water.doubtful) + doubt(water) + read(water.atMs)
    case 'level':
      return `<p class="say">${escaped(words.level(String(Math.floor(water.pct))))}</p>${doubt(water)}${note(words.minutesNotMeasured)}${read(water.atMs)}`
    case 'float':
      return `<p class="say">${escaped(water.low ? words.floatLow : words.floatWet)}</p>${read(water.atMs)}`
    case 'not-known':
      return `<p class="figure" aria-hidden="true">\u2013</p><p class="say">${escaped(words.notKnown)}</p>${note(water.atMs === null ? words.neverRead : words.lastRead(age(nowMs - water.atMs)))}`
    case 'not-measured':
      return `<p class="say">${escaped(words.notMeasured)}</p>`
  }
}

/** Rounded down: to the minute under an hour, then to 5 min. */
function leftText(minutes: number, words: YardWords): [string, string] {
  const m = Math.max(0, Math.floor(minutes))
  if (m < 60) return [String(m), words.minutes]
  const five = Math.floor(m / 5) * 5
  return [five % 60 === 0 ? String(five / 60) : `${Math.floor(five / 60)}${NBSP}h${NBSP}${String(five % 60).padStart(2, '0')}`, five % 60 === 0 ? 'h' : '']
}

function verdictPart(view: YardView, words: YardWords, at: Clock): string {
  const { reasons, blind } = view.verdict
  const unseen = view.silent ? `<p class="strong">${escaped(words.cannotTell(view.heardMs === null ? null : age(view.nowMs - view.heardMs)))}</p>` : ''
  const contract = view.outOfContract ? `<p class="strong">${escaped(words.outOfContract)}</p>` : ''
  const notWatched = blind.length === 0 ? '' : `<p class="note">${escaped(words.blind(blind.map((b) => words.watch[b]).join(', ')))}</p>`
  if (reasons.length > 0) {
    return `<div class="stop"><h2>${escaped(words.doNotWash)}</h2><ul>${reasons.map((r) => `<li>${reasonText(r, words, at)}</li>`).join('')}</ul></div>${unseen}${contract}${notWatched}`
  }
  return `${unseen || contract ? '' : `<p class="say">${escaped(words.nothingAgainst)}</p>`}${unseen}${contract}${notWatched}`
}

function reasonText(r: WashReason, words: YardWords, at: Clock): string {
  const when = [r.sinceMs === null ? '' : words.since(at(r.sinceMs)), r.untilMs === null ? '' : words.until(at(r.untilMs))].filter(Boolean).join(', ')
  const detail = [r.what, when].filter(Boolean).join(', ')
  return `<b>${escaped(words.because[r.kind])}</b>${detail ? ` <span>${escaped(detail)}.</span>` : ''}${r.heldSinceMs === null ? '' : ` <span>${escaped(words.held)}</span>`}`
}

function phones(view: YardView, words: YardWords): string {
  const numbers = [
    [words.callCare, view.carePhone],
    [words.callYard, view.yardPhone],
  ] as const
  const links = numbers.flatMap(([who, number]) =>
    number === null ? [] : [`<a class="call" href="tel:${dialled(number)}"><span>${escaped(words.call)}: ${escaped(who)}</span> <b>${escaped(number)}</b></a>`],
  )
  return `<section aria-label="${escaped(words.call)}">${links.join('\n') || `<p>${escaped(words.noPhone)}</p>`}</section>`
}

/** What a phone dials: without the words in brackets behind it. */
const dialled = (text: string): string => text.replace(/\(.*\)/, '').replace(/[^\d+]/g, '')

function lately(view: YardView, words: YardWords, at: Clock): string {
  if (view.reports.length === 0) return ''
  const lines = view.reports.map((e) => `<li>${escaped(words.report[reportOf(e.item)])}, ${escaped(at(e.atMs))}</li>`)
  return `<h3>${escaped(words.lately)}</h3><ul>${lines.join('')}</ul>`
}

const reportOf = (item: string | undefined): Report => REPORTS.find((r) => r === item) ?? 'something else'

const hazardText = (c: Caution, words: YardWords): string => (Object.hasOwn(words.hazard, c.id) ? words.hazard[c.id] : undefined) ?? c.text

type Clock = (ms: number, seconds?: boolean) => string

/** Wall clock of the site; with the day when it is another one than today. */
function clockFor({ zone, nowMs }: YardView, code: string): Clock {
  const form = (o: Intl.DateTimeFormatOptions) => new Intl.DateTimeFormat(code === 'en' ? 'en-GB' : code, { timeZone: zone, hourCycle: 'h23', ...o })
  const day = form({ day: 'numeric', month: 'short' })
  const short = form({ hour: '2-digit', minute: '2-digit' })
  const long = form({ hour: '2-digit', minute: '2-digit', second: '2-digit' })
  return (ms, seconds = false) => `${day.format(ms) === day.format(nowMs) ? '' : `${day.format(ms)} `}${(seconds ? long : short).format(ms)}`
}

/** Rounded down; the letters are those of the units and belong to no language. */
function age(ms: number): string {
  const s = Math.max(0, Math.floor(ms / 1000))
  if (s < 60) return `${s}${NBSP}s`
  const min = Math.floor(s / 60)
  if (min < 60) return `${min}${NBSP}min`
  return min < 2880 ? `${Math.floor(min / 60)}${NBSP}h` : `${Math.floor(min / 1440)}${NBSP}d`
}
