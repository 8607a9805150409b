/** Faults of dosing, pumps, valves, tanks, paper and panel. */
import { type Kind, begins, machineOf } from './kind.ts'

export const waterKinds = {
  'dose-stuck': {
    scenario: 'F6',
    variant: null,
    cause: 'acid',
    what: 'The relay of the acid pump welds shut and its run timer does not act.',
    apply: (t, _s, f, p) => {
      t.doseStuck.add(f.at ?? p.control.doser ?? 'acid')
      if (p.control.maxDoseRun) t.defeated.add(p.control.maxDoseRun)
    },
  },
  'dose-guarded': {
    scenario: 'F6',
    variant: 'timer acts',
    cause: 'acid',
    what: 'The relay of the acid pump welds shut; its run timer stops the pump after two minutes.',
    apply: (t, _s, f, p) => void t.doseStuck.add(f.at ?? p.control.doser ?? 'acid'),
  },
  storm: { scenario: 'F10', variant: null, cause: 'rain', what: 'A cloudburst of 25 mm/h over an open pad.', apply: (t, s) => void (t.stormMmPerH = 25 * s) },
  'transfer-airlock': {
    scenario: 'F11',
    variant: null,
    cause: 'no transfer',
    what: 'The transfer pump runs on air: current a third down, water stays in the sump.',
    apply: (t, s) => void (t.airlock = Math.min(1, s)),
  },
  'strainer-blocked': {
    scenario: 'F11',
    variant: 'strainer',
    cause: 'no transfer',
    what: 'Rags close the strainer over an hour or two: the transfer pump moves a fifth of what it did.',
    apply: (t, s) => void (t.airlock = Math.min(1, 0.8 * s)),
  },
  'make-up-stuck': { scenario: 'F11', variant: 'make-up', cause: 'make-up valve', what: 'The make-up valve sticks open.', apply: (t) => void (t.makeUpStuck = true) },
  'make-up-shut': {
    scenario: null,
    variant: null,
    cause: 'make-up valve',
    what: 'The make-up valve stays shut, or the mains are: the finished water runs down.',
    apply: (t) => void (t.makeUpShut = true),
  },
  leak: { scenario: null, variant: null, cause: 'leak', what: 'A tank loses water through its drain.', apply: (t, s, f) => void t.leak.set(f.at ?? 'finished', 0.25 * s) },
  overflow: {
    scenario: null,
    variant: null,
    cause: 'overflow',
    what: 'The crest between two tanks is blocked: the water before it rises and leaves over the rim.',
    apply: (t, _s, f, p) => void t.crestBlocked.add(f.at ?? p.water.bio[p.water.bio.length - 1]?.id ?? 'bio'),
  },
  'roll-end': {
    scenario: null,
    variant: null,
    cause: 'paper',
    what: 'The paper roll runs out and nobody brings a new one: dirt goes through.',
    apply: (t, _s, f, p) => {
      t.rollHeld = true
      if (begins(f, p)) p.water.paper.usedM = Math.max(p.water.paper.usedM, p.water.paper.rollM - 2)
    },
  },
  'paper-jam': {
    scenario: null,
    variant: null,
    cause: 'paper',
    what: 'The paper drive has jammed: the pool over the paper stands and little passes.',
    apply: (t, _s, f, p) => void t.tripped.add(machineOf(p, f, 'filter-drive')),
  },
  'controller-stuck': {
    scenario: null,
    variant: null,
    cause: 'controller',
    what: 'The program of the controller has stopped: outputs stay as they were, and the modem goes on sending the last figures with new times.',
    apply: (t) => void (t.panelFrozen = true),
  },
} as const satisfies Record<string, Kind>
