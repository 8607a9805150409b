/** Embedded stores in temporary folders, and a clock moved by hand. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { onTestFinished } from 'vitest'
import type { Clock } from '../../gateway/clock.ts'
import { openEmbedded, type EmbeddedHistory, type EmbeddedOptions } from '../../gateway/history/embedded.ts'

export interface HandClock extends Clock {
  /** Moves both times on. */
  advance(ms: number): void
  /** Every look at the steady time moves it on by so much: work with a budget stops at its first look. */
  perLookMs: number
}

export function handClock(nowMs: number): HandClock {
  let passedMs = 0
  return {
    perLookMs: 0,
    nowMs: () => nowMs + passedMs,
    steadyMs() {
      passedMs += this.perLookMs
      return passedMs
    },
    advance(ms) {
      passedMs += ms
    },
  }
}

/** A folder that is gone when the test is over. */
export function tempFolder(): string {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-history-'))
  onTestFinished(() => rmSync(dir, { recursive: true, force: true }))
  return dir
}

/** A store that is closed when the test is over. */
export function openStore(dir: string, more: Partial<EmbeddedOptions> = {}): EmbeddedHistory {
  const store = openEmbedded({ dir, clock: handClock(Date.UTC(2026, 0, 5, 6)), ...more })
  onTestFinished(() => store.close())
  return store
}
