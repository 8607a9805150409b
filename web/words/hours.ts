/** Hours of a week as people write them, a line each: `mon-fri 06:00-20:00`, or `always`. */

export type Hours = string | Readonly<Record<string, string>>

/** Whatever the file holds; what is none of ours is shown as it stands. */
export function hoursText(hours: unknown): string {
  if (typeof hours === 'string') return hours
  if (typeof hours !== 'object' || hours === null) return ''
  return Object.entries(hours)
    .map(([days, times]) => `${days} ${String(times)}`)
    .join('\n')
}

/** null: nothing is said. What cannot be read is handed on, for the server to say what is wrong with it. */
export function hoursOf(text: string): Hours | null {
  const lines = text
    .split('\n')
    .map((l) => l.trim())
    .filter(Boolean)
  if (lines.length === 0) return null
  if (lines.length === 1 && lines[0]?.toLowerCase() === 'always') return 'always'
  return Object.fromEntries(
    lines.map((l) => {
      const [days = '', ...times] = l.split(/\s+/)
      return [days.replace(/:$/, '').toLowerCase(), times.join(' ')]
    }),
  )
}
