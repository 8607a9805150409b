/** Faults of instruments, panels' clocks and links: nothing is wrong with the water. */
import { type Kind, signalOf, spoil } from './kind.ts'

export const instrumentKinds = {
  'ph-drift': {
    scenario: 'F9',
    variant: null,
    cause: 'pH probe',
    what: 'The reference of the pH electrode is poisoned: the reading drifts down and the controller doses less.',
    apply: (t, s, f, p) => spoil(t, signalOf(p, f, 'ph'), { offset: -0.6 * s }),
  },
  'ph-slope': {
    scenario: 'F9',
    variant: 'slope',
    cause: 'pH probe',
    what: 'The glass of the pH electrode is worn: it shows only 60 % of any distance from pH 7.',
    apply: (t, s, f, p) => spoil(t, signalOf(p, f, 'ph'), { gain: 1 - 0.4 * Math.min(1, s) }),
  },
  'oxygen-fouling': {
    scenario: null,
    variant: null,
    cause: 'oxygen probe',
    what: 'A film grows on the oxygen probe: a membrane reads low, an optical cap high, and both answer slowly.',
    apply: (t, s, f, p) => {
      const signal = signalOf(p, f, 'do')
      spoil(t, signal, p.probeTypes.get(signal) === 'optical' ? { offset: 1 * s, lagS: 240 * s } : { gain: Math.max(0.1, 1 - 0.3 * s), lagS: 240 * s })
    },
  },
  'oxygen-failed': {
    scenario: null,
    variant: 'failed',
    cause: 'oxygen probe',
    what: 'The oxygen probe has failed: it lies at zero, without noise.',
    apply: (t, _s, f, p) => spoil(t, signalOf(p, f, 'do'), { gain: 0, still: true }),
  },
  'frozen-probe': {
    scenario: null,
    variant: null,
    cause: 'instrument',
    what: 'An instrument shows what it showed before.',
    apply: (t, _s, f, p) => spoil(t, signalOf(p, f, 'do'), { frozen: true }),
  },
  'level-foam': {
    scenario: null,
    variant: null,
    cause: 'instrument',
    what: 'Foam or a cobweb under the level head: it reads 6 % high.',
    apply: (t, s, f) => spoil(t, f.at ?? 'finished.level', { offset: 6 * s }),
  },
  dropout: {
    scenario: null,
    variant: null,
    cause: 'instrument',
    what: 'A loose wire: the instrument gives no figure.',
    apply: (t, _s, f, p) => spoil(t, signalOf(p, f, 'do'), { lost: true }),
  },
  wiper: {
    scenario: null,
    variant: null,
    cause: 'instrument',
    what: 'The wiper of a probe sticks on its face and swings each half hour: spikes.',
    apply: (t, s, f, p) => {
      if ((p.nowMs - f.onsetMs) % 1_800_000 < 40_000) spoil(t, signalOf(p, f, 'do'), { offset: -2.5 * s })
    },
  },
  'clock-wrong': {
    scenario: null,
    variant: null,
    cause: 'clock',
    what: 'The clock of the controller is off: size in hours, ahead when positive.',
    apply: (t, s) => void (t.clockMs = Math.round(s * 3_600_000)),
  },
  'clock-zoneless': {
    scenario: null,
    variant: null,
    cause: 'clock',
    what: 'The controller writes the time of its own wall without a zone.',
    apply: (t) => void (t.stamps = 'zoneless'),
  },
  'clock-none': { scenario: null, variant: null, cause: 'clock', what: 'The controller has lost its clock and sends no times.', apply: (t) => void (t.stamps = 'none') },
  duplicates: { scenario: null, variant: null, cause: 'link', what: 'The modem sends every message twice.', apply: (t) => void (t.twice = true) },
} as const satisfies Record<string, Kind>
