/** A bar on a terminal while something long goes on; on anything else nothing. */
export interface Progress {
  /** done and all in the same measure; `what` stands behind the bar. */
  show(done: number, all: number, what: string): void
  end(): void
}

const WIDTH = 30
const EVERY_MS = 100

export interface Terminal {
  readonly isTTY?: boolean
  write(text: string): unknown
}

export function progressOn(terminal: Terminal, steadyMs: () => number): Progress {
  let lastMs = Number.NEGATIVE_INFINITY
  let shown = false
  return {
    show(done, all, what) {
      const now = steadyMs()
      if (terminal.isTTY !== true || (now - lastMs < EVERY_MS && done < all)) return
      lastMs = now
      shown = true
      terminal.write(`\r${barOf(done, all)} ${what}\u001b[K`)
    },
    end() {
      if (shown) terminal.write('\n')
      shown = false
    },
  }
}

/** `[##########....................]  33 %` */
export function barOf(done: number, all: number): string {
  const part = all > 0 ? Math.min(1, done / all) : 1
  const full = Math.floor(part * WIDTH)
  return `[${'#'.repeat(full)}${'.'.repeat(WIDTH - full)}] ${String(Math.floor(part * 100)).padStart(3)} %`
}
