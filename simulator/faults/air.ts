/** Faults of the air and of the power behind it. */
import { type Kind, firstTank, machineOf } from './kind.ts'

export const airKinds = {
  'blower-trip': {
    scenario: 'F1',
    variant: null,
    cause: 'air lost',
    what: 'The blower trips on overload and stays off.',
    apply: (t, _s, f, p) => void t.tripped.add(machineOf(p, f, 'aerator')),
  },
  'air-line-off': {
    scenario: 'F2',
    variant: null,
    cause: 'air lost',
    what: 'The air line of one tank slips off; contactor and current look normal.',
    apply: (t, s, f, p) => void t.airLost.set(firstTank(p, f), Math.min(1, 0.97 * s)),
  },
  'diffuser-fouling': {
    scenario: 'F3',
    variant: null,
    cause: 'air transfer',
    what: 'Diffusers clog: transfer falls, pressure creeps up.',
    apply: (t, s) => void (t.fouling = Math.min(0.95, 0.6 * s)),
  },
  'no-restart': {
    scenario: 'F12',
    variant: null,
    cause: 'air lost',
    what: 'Power blinks for 20 s; everything comes back but the blower.',
    apply: (t, _s, f, p) => {
      t.defeated.add('restart-after-power')
      if (p.nowMs - f.onsetMs < 20_000) t.mains = false
    },
  },
  'left-in-off': {
    scenario: 'F12',
    variant: 'selector',
    cause: 'air lost',
    what: 'A selector is left in OFF after a visit.',
    apply: (t, _s, f, p) => void t.handOff.add(machineOf(p, f, 'aerator')),
  },
  'phase-loss': {
    scenario: null,
    variant: null,
    cause: 'phase',
    what: 'One phase of the mains is gone; the motors on three phases trip within half a minute.',
    apply: (t, _s, f, p) => {
      t.phaseLost = true
      if (p.nowMs - f.onsetMs >= 30_000) for (const e of p.spec.site.equipment) if (e.kind === 'aerator' || e.kind === 'pump' || e.kind === 'washer') t.tripped.add(e.id)
    },
  },
  'power-loss': {
    scenario: null,
    variant: null,
    cause: 'power',
    what: 'The mains are off for many hours.',
    apply: (t) => void (t.mains = false),
  },
} as const satisfies Record<string, Kind>
