/** How a reading is shown: its figure, or the reason there is none. */
import type { SignalBody } from '../../server/wire.ts'
import { figure } from '../words/numbers.ts'
import { age } from '../words/times.ts'
import { SUB_WORDS } from '../words/words.ts'

export interface Shown {
  /** Figure, state word, or a dash. */
  readonly text: string
  readonly unit: string
  /** good: ink. doubtful: second ink with the reason. stale: third ink with its age. none: a dash and why. */
  readonly kind: 'good' | 'doubtful' | 'stale' | 'none'
  /** What to say beside it; empty when there is nothing to say. */
  readonly note: string
}

type Fields = Pick<SignalBody, 'value' | 'quality' | 'sub' | 'sourceMs' | 'reportEveryMs' | 'digits' | 'unitText' | 'states' | 'kind'>

/** Stale after three reports and 10 s, a dash after ten: the last figure must not pass for the present one. */
export function shown(s: Fields, nowMs: number): Shown {
  if (s.sourceMs === null || s.quality === null) return { text: '–', unit: '', kind: 'none', note: 'nothing heard yet' }
  const old = nowMs - s.sourceMs
  const text = s.value === null ? '–' : s.states ? (s.states[s.value === 1 ? 1 : 0] ?? '–') : figure(s.value, s.digits)
  if (s.value === null || s.quality === 'bad') return { text: '–', unit: '', kind: 'none', note: SUB_WORDS[s.sub ?? ''] || 'rejected' }
  if (old > 10 * s.reportEveryMs + 10_000) return { text: '–', unit: '', kind: 'none', note: `nothing for ${age(old)}` }
  if (old > 3 * s.reportEveryMs + 10_000) return { text, unit: s.unitText, kind: 'stale', note: `${age(old)} old` }
  if (s.quality === 'uncertain') return { text, unit: s.unitText, kind: 'doubtful', note: SUB_WORDS[s.sub ?? ''] || 'doubtful' }
  return { text, unit: s.unitText, kind: 'good', note: '' }
}
