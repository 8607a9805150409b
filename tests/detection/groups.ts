/**
 * What trouble an alarm names, read from the last part of its id. A fault counts as found only by an alarm of a trouble that its row in
 * scenarios.ts accepts, so that an alarm which happens to speak at the right hour about something else finds nothing.
 */

export const TROUBLES = [
  'air',
  'oxygen',
  'air transfer',
  'biology',
  'acid',
  'alkaline',
  'alkalinity',
  'dosing',
  'nutrient',
  'redox',
  'sump',
  'spill',
  'water',
  'transfer',
  'make-up',
  'leak',
  'salt',
  'power',
  'restart',
  'trip',
  'selector',
  'paper',
  'frost',
  'heat',
  'gas',
  'link',
  'blind',
  'probe',
  'starvation',
  'clarity',
  'visit',
  'other',
] as const
export type Trouble = (typeof TROUBLES)[number]

/** First pattern that fits decides: the narrow ones stand before the wide ones. */
const PATTERNS: readonly (readonly [RegExp, Trouble])[] = [
  [/\.blind$/, 'blind'],
  [/inflow/, 'sump'],
  [/overdue-visit/, 'visit'],
  [/(visit|power)-check/, 'restart'],
  [/no-answer/, 'dosing'],
  [/^water\.lost/, 'leak'],
  [/^site\.(silent|clock|quarantine)$|gap|link/, 'link'],
  [/no-air|air-lost|airless/, 'air'],
  [/restart|power-back|after-power|post-visit|after-visit|visit-check|power-check|not-back|came-back/, 'restart'],
  [/(drift|stuck|flat|frozen|disagree|slope|no-response|no-answer|in-air|probe|unmoved)/, 'probe'],
  [/(starv|unfed|no-wash|not-washed|no-food)/, 'starvation'],
  [/(dip|uptake|our|appetite|demand|toxic|index-of|activity)/, 'biology'],
  [/(alkalinity|buffer|sawtooth)/, 'alkalinity'],
  [/nutrient/, 'nutrient'],
  [/\.ph\.low-low-|(acid|alum|bicarbonate|dose|dosing|doser)\b.*(long|run|over|stuck)|\.long$|over-run|overdos/, 'dosing'],
  [/\.ph\..*(low|acid|fall|down)/, 'acid'],
  [/\.ph\..*(high|alkaline|rise|up)/, 'alkaline'],
  [/(blower|aerator).*pressure|foul|transfer-of-air|kla|recover/, 'air transfer'],
  [/\.do\..*(high|over|saturat)/, 'biology'],
  [/\.do\./, 'oxygen'],
  [/\.orp\./, 'redox'],
  [/turbidity|clarity/, 'clarity'],
  [/conductivity|salt|cycles/, 'salt'],
  [/containment|overflow|bund|spill/, 'spill'],
  [/make-?up/, 'make-up'],
  [/leak|night-loss|balance|unexplained|water\.lost/, 'leak'],
  [/^transfer\.|airlock|no-transfer|not-moving|strainer/, 'transfer'],
  [/^sump\.level|^sump\.high|^bio\d*\.(high|level)|^tu\.(high|level)|(level|high)\.(high|wet)/, 'sump'],
  [/^finished\.(level|low)|water-left|finished/, 'water'],
  [/mains|power|voltage|phase/, 'power'],
  [/trip/, 'trip'],
  [/panel\.auto|selector|\.auto/, 'selector'],
  [/roll|paper|filter/, 'paper'],
  [/(cabinet|ambient).*(low|frost|cold)|frost/, 'frost'],
  [/temperature/, 'heat'],
  [/h2s|ozone/, 'gas'],
]

/** `kestrow-berth-3/tu.do.low` or `tu.do.low`: oxygen. */
export function troubleOf(alarm: string): Trouble {
  const key = alarm.slice(alarm.indexOf('/') + 1)
  return PATTERNS.find(([p]) => p.test(key))?.[1] ?? 'other'
}
