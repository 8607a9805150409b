/**
 * The course of every signal as a plain function of time, so that the newest reading and the trend tell one story. Values are
 * invented within what such loops show; one blower trips 5 min before `nowMs`.
 */
import type { Signal } from '../../gateway/site/site.ts'

const MIN = 60_000
const HOUR = 60 * MIN

/** Same text, same number from 0 to 1. */
export function chance(text: string): number {
  let h = 2166136261
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 16777619)
  h ^= h >>> 15
  return ((Math.imul(h, 2246822519) >>> 0) % 10_000) / 10_000
}

export interface Moment {
  readonly ms: number
  readonly nowMs: number
  readonly site: string
  /** The blower of this loop stands still since `nowMs` less 5 min. */
  readonly airLost: boolean
}

/** Nothing came in this time of the story; for the probes of `rejectedIn` something came that was no reading. */
export const silentIn = (nowMs: number): readonly [number, number] => [nowMs - 5.6 * HOUR, nowMs - 5.1 * HOUR]
/** Oxygen in bio tank 1 came in this time and was doubted. */
export const doubtedIn = (nowMs: number): readonly [number, number] => [nowMs - 4.4 * HOUR, nowMs - 3.6 * HOUR]
export const rejectedIn = (nowMs: number): readonly [number, number] => [nowMs - 2.8 * HOUR, nowMs - 2.1 * HOUR]

const wave = (m: Moment, periodMs: number, seed: string): number => Math.sin((2 * Math.PI * m.ms) / periodMs + 6 * chance(m.site + seed))
const grain = (m: Moment, seed: string): number => chance(`${m.site}${seed}${Math.floor(m.ms / MIN)}`) - 0.5

const LEVELS: Readonly<Record<string, number>> = { do: 4, ph: 7.3, orp: 190, level: 62, temperature: 17, current: 3.9, voltage: 398, conductivity: 820, turbidity: 7 }
const FINE: Readonly<Record<string, number>> = { do: 0.35, ph: 0.12, orp: 22, level: 9, temperature: 1.4, current: 0.12, voltage: 2, conductivity: 30, turbidity: 2 }

export function valueAt(signal: Signal, m: Moment): number {
  const { quantity, id } = signal
  const sinceTripMin = m.airLost ? Math.max(0, (m.ms - (m.nowMs - 5 * MIN)) / MIN) : 0
  const blower = id.startsWith('blower') || id.includes('air')
  if (signal.unit === '1') {
    if (quantity === 'run') {
      if (blower) return sinceTripMin > 0 ? 0 : 1
      const on = id.startsWith('ozone') ? 0.6 : id.startsWith('hp') ? 0.35 : 0.25
      return (m.ms / (25 * MIN) + 10 * chance(m.site + id)) % 1 < on ? 1 : 0
    }
    return quantity === 'present' || quantity === 'auto' ? 1 : 0
  }
  if (quantity === 'hours') return Math.floor(2000 + 6000 * chance(m.site + id) + m.ms / HOUR / 3 - m.nowMs / HOUR / 3)
  if (['starts', 'pulses', 'volume', 'uptime'].includes(quantity)) return Math.floor(10_000 * chance(m.site + id) + 20_000 + (m.ms - m.nowMs) / MIN)
  if (quantity === 'pressure') {
    if (!blower) return signal.unit === 'bar' ? 2 + grain(m, id) : 2000
    return sinceTripMin > 0 ? 3 : 205 + 4 * grain(m, id)
  }
  if (quantity === 'current') return blower ? (sinceTripMin > 0 ? 0 : 3.9 + 0.2 * grain(m, id)) : id.startsWith('hp') ? 0 : 1.4 + 0.2 * grain(m, id)
  if (quantity === 'flow') return Math.max(0, 20 + 6 * wave(m, 3 * HOUR, id))
  if (quantity === 'ozone') return 0.01
  if (quantity === 'h2s') return 0.2
  if (quantity === 'strength') return -84 + 3 * grain(m, id)
  if (quantity === 'rain') return 0
  if (quantity === 'paper') return 34
  // Salt builds up from day to day, and the water has been clearer since the paper was changed.
  const past = quantity === 'conductivity' ? (14 * (m.ms - m.nowMs)) / (24 * HOUR) : quantity === 'turbidity' && m.ms < m.nowMs - 60 * HOUR ? 5 : 0
  const fall = quantity === 'do' ? 0.38 * sinceTripMin : 0
  const level = (LEVELS[quantity] ?? 50) * (id.startsWith('sump') ? 0.7 : 1)
  const fine = FINE[quantity] ?? 1
  return Math.max(quantity === 'orp' ? -500 : 0, level + past + fine * wave(m, 7 * HOUR, id) + fine * 0.35 * grain(m, id) - fall)
}

/** To the figures the instrument would send. */
export const rounded = (signal: Signal, value: number): number => {
  const step = 10 ** Math.max(0, signal.digits + (signal.quantity === 'ph' ? 1 : 0))
  return Math.round(value * step) / step
}
