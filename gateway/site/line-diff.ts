/** Lines that go and lines that come between two texts, with a few that stay around them. */

export interface DiffLine {
  readonly kind: 'stays' | 'goes' | 'comes'
  /** Counted from 1; in the text before for lines that stay or go, in the text after for those that come. */
  readonly line: number
  readonly text: string
}

/** Lines of one table; beyond it all of the changed middle goes and comes. */
const MOST_CELLS = 4_000_000

/** Stretches of the difference, in the order of the text; empty: the texts are the same. `around`: lines shown before and after. */
export function lineDiff(before: string, after: string, around = 2): readonly (readonly DiffLine[])[] {
  const [a, b] = [before.split('\n'), after.split('\n')]
  let head = 0
  while (head < a.length && head < b.length && a[head] === b[head]) head++
  let tail = 0
  while (tail < a.length - head && tail < b.length - head && a[a.length - 1 - tail] === b[b.length - 1 - tail]) tail++
  const all: DiffLine[] = []
  const stays = (i: number): void => void all.push({ kind: 'stays', line: i + 1, text: a[i] ?? '' })
  for (let i = 0; i < head; i++) stays(i)
  all.push(...middle(a, b, head, a.length - tail, b.length - tail))
  for (let i = a.length - tail; i < a.length; i++) stays(i)
  return stretches(all, around)
}

/** Longest common subsequence of the lines between `from` and the two ends, as a table of lengths read from its start. */
function middle(a: readonly string[], b: readonly string[], from: number, aEnd: number, bEnd: number): readonly DiffLine[] {
  const [rows, columns] = [aEnd - from, bEnd - from]
  const out: DiffLine[] = []
  const goes = (i: number): void => void out.push({ kind: 'goes', line: i + 1, text: a[i] ?? '' })
  const comes = (j: number): void => void out.push({ kind: 'comes', line: j + 1, text: b[j] ?? '' })
  let [i, j] = [from, from]
  if (rows * columns <= MOST_CELLS) {
    const width = columns + 1
    const longest = new Uint32Array((rows + 1) * width)
    for (let r = rows - 1; r >= 0; r--)
      for (let c = columns - 1; c >= 0; c--)
        longest[r * width + c] =
          a[from + r] === b[from + c] ? (longest[(r + 1) * width + c + 1] ?? 0) + 1 : Math.max(longest[(r + 1) * width + c] ?? 0, longest[r * width + c + 1] ?? 0)
    while (i < aEnd && j < bEnd) {
      const at = (i - from) * width + (j - from)
      if (a[i] === b[j]) {
        out.push({ kind: 'stays', line: i + 1, text: a[i] ?? '' })
        i++
        j++
      } else if ((longest[at + width] ?? 0) >= (longest[at + 1] ?? 0)) goes(i++)
      else comes(j++)
    }
  }
  while (i < aEnd) goes(i++)
  while (j < bEnd) comes(j++)
  return out
}

function stretches(all: readonly DiffLine[], around: number): readonly (readonly DiffLine[])[] {
  const out: DiffLine[][] = []
  let open: DiffLine[] | null = null
  let lastShown = -1
  all.forEach((l, i) => {
    const near = all.slice(Math.max(0, i - around), i + around + 1).some((x) => x.kind !== 'stays')
    if (!near) return
    if (!open || i !== lastShown + 1) {
      open = []
      out.push(open)
    }
    open.push(l)
    lastShown = i
  })
  return out
}
