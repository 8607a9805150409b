/** Figures and texts of an alarm as people read and write them in a change. */
import { figure } from './numbers.ts'

const NBSP = '\u00a0'

/** `30 s`, `10 min`, `1 h 30 min`. */
export function delayText(ms: number): string {
  if (ms === 0) return `0${NBSP}s`
  const [h, min, s] = [Math.floor(ms / 3_600_000), Math.floor(ms / 60_000) % 60, (ms % 60_000) / 1000]
  return [h > 0 && `${h}${NBSP}h`, min > 0 && `${min}${NBSP}min`, s > 0 && `${s}${NBSP}s`].filter(Boolean).join(' ')
}

const UNIT_MS: Readonly<Record<string, number>> = { s: 1000, min: 60_000, h: 3_600_000 }

/** ms of a text such as `90 s`, `10 min`, `1 h 30 min`; null: it is none. */
export function delayMs(text: string): number | null {
  const parts = text.trim().replaceAll(',', '.').toLowerCase()
  if (parts === '0') return 0
  if (!/^(\d+(\.\d+)?\s*(s|min|h)\s*)+$/.test(parts)) return null
  let ms = 0
  for (const m of parts.matchAll(/(\d+(?:\.\d+)?)\s*(s|min|h)/g)) ms += Number(m[1]) * (UNIT_MS[m[2] ?? ''] ?? 0)
  return Math.round(ms)
}

/** A figure as people write it, with a comma or a real minus too; null: it is none. */
export function numberOf(text: string): number | null {
  const t = text.trim().replace(',', '.').replace('\u2212', '-')
  return t === '' || Number.isNaN(Number(t)) ? null : Number(t)
}

export const FIELD_WORDS: Readonly<Record<string, string>> = {
  off: 'Watched',
  limit: 'Limit',
  deadband: 'Deadband',
  onDelayMs: 'On-delay',
  offDelayMs: 'Off-delay',
  priority: 'Priority',
  cause: 'Likely cause',
  consequence: 'If nobody acts',
  action: 'Do',
  respondWithinMin: 'Time to respond',
  detectionMs: 'Seen at the latest after',
}

/** A field's value in words. */
export function fieldText(field: string, value: number | string | boolean | readonly string[] | null, unit: string): string {
  if (value === null) return 'none'
  if (typeof value === 'boolean') return value ? 'off' : 'on'
  if (typeof value === 'string') return value
  if (typeof value !== 'number') return value.join(' / ')
  if (field.endsWith('Ms')) return delayText(value)
  if (field === 'respondWithinMin') return `${value}${NBSP}min`
  const [, part = ''] = String(value).split('.')
  return figure(value, part.length) + (unit ? NBSP + unit : '')
}
