/**
 * The demo hour: three of eight loops head into trouble, a fourth gets over a heavy load, four go their quiet way. Times are
 * minutes after going live. The rushes see to it that somebody washes at the loops that matter, whatever the time of day.
 */
import type { Planned } from '../plan.ts'

export const demoPlan: readonly Planned[] = [
  // A tub of blood water went down the pad: oxygen has dipped and comes back within the hour, no help needed.
  { site: 'myrrhope-fish-dock', kind: 'rush', fromMin: -110, toMin: -25, size: 1 },
  { site: 'myrrhope-fish-dock', kind: 'fatty-load', fromMin: -100, toMin: -60, size: 0.9 },

  // Boats are in; then the blower trips. Oxygen in the treatment unit is gone in minutes, the bio tanks follow in hours.
  { site: 'kestrow-berth-3', kind: 'rush', fromMin: -20, toMin: 60, size: 0.9 },
  { site: 'kestrow-berth-3', kind: 'blower-trip', fromMin: 2, toMin: null },
  // The transfer pump draws air: it runs, the sump fills, finished water runs down while the buses keep coming.
  { site: 'ullenwick-bus-north', kind: 'rush', fromMin: -15, toMin: 90, size: 1 },
  { site: 'ullenwick-bus-north', kind: 'transfer-airlock', fromMin: 5, toMin: null, rampMin: 1 },
  // The far quarry goes off the air.
  { site: 'thrapplow-quarry-upper', kind: 'link-out', fromMin: 9, toMin: null },
]
