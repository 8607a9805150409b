/** Colours of a chart, read from the tokens as they stand in this theme; a canvas cannot read custom properties by itself. */
import { signal } from '@preact/signals'

export interface ChartColours {
  readonly grid: string
  readonly text: string
  readonly ink: string
  readonly ink2: string
  readonly ring: string
  readonly page: string
  readonly sunk: string
  readonly series: readonly string[]
}

const DASHES: readonly (readonly number[])[] = [[], [], [], [], [10, 3], [6, 3], [2, 3], [10, 3, 2, 3]]
/** Dash of line `i`, so that a grey print works from the fifth on. */
export const dashOf = (i: number): readonly number[] => DASHES[i % 8] ?? []

/** The same colour at a fifth, for what is an area. A system colour has no fifth. */
export const tint = (colour: string): string => (/^#[\da-f]{6}$/i.test(colour) ? `${colour}33` : 'transparent')

function read(): ChartColours {
  const style = getComputedStyle(document.documentElement)
  const token = (name: string): string => style.getPropertyValue(`--${name}`).trim()
  return {
    grid: token('line'),
    text: token('ink-3'),
    ink: token('ink'),
    ink2: token('ink-2'),
    ring: token('ring'),
    page: token('page'),
    sunk: token('sunk'),
    series: [1, 2, 3, 4, 5, 6, 7, 8].map((n) => token(`ser-${n}`)),
  }
}

/** Changes when the system or the page turns dark or light. */
export const colours = signal<ChartColours>(read())
const again = (): void => {
  const next = read()
  if (JSON.stringify(next) !== JSON.stringify(colours.peek())) colours.value = next
}
for (const query of ['(prefers-color-scheme: dark)', '(forced-colors: active)']) matchMedia(query).addEventListener('change', again)
new MutationObserver(again).observe(document.documentElement, { attributeFilter: ['data-theme'] })

/** Those of the light theme, whatever the page shows: for what goes on paper or into a report. */
export function paperColours(): ChartColours {
  const root = document.documentElement
  const before = root.getAttribute('data-theme')
  root.setAttribute('data-theme', 'light')
  // The lightest ground there is: a picture ends up on white.
  const light = { ...read(), page: getComputedStyle(root).getPropertyValue('--sheet').trim() }
  if (before === null) root.removeAttribute('data-theme')
  else root.setAttribute('data-theme', before)
  return light
}
