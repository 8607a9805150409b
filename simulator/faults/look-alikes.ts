/** What looks like a fault and is none, and what people do at a loop. */
import { SURFACTANT } from '../process/species.ts'
import { type Kind, firstTank, machineOf, pour, signalOf, spoil } from './kind.ts'

const hourOf = (nowMs: number): number => (nowMs / 3_600_000) % 24

export const lookAlikes = {
  'no-washing': { scenario: 'B1', variant: null, cause: null, what: 'Nobody washes: holiday, or a yard gone quiet.', apply: (t) => void (t.noWash = true) },
  'heavy-day': {
    scenario: 'B2',
    variant: null,
    cause: null,
    what: 'Far more vehicles than usual, with plenty of detergent.',
    apply: (t, s, f, p) => {
      t.rush = Math.max(t.rush, Math.min(1, 0.9 * s))
      pour(t, f, p, 'pad', SURFACTANT, 250 * s)
    },
  },
  rush: { scenario: null, variant: null, cause: null, what: 'The pad is never empty.', apply: (t, s) => void (t.rush = Math.max(t.rush, Math.min(1, s))) },
  'nightly-air-off': {
    scenario: 'B4',
    variant: null,
    cause: null,
    what: 'A timer stops the air for 15 minutes at 02:00 UTC each night.',
    apply: (t, _s, f, p) => {
      if (hourOf(p.nowMs) >= 2 && hourOf(p.nowMs) < 2.25) t.paused.add(machineOf(p, f, 'aerator'))
    },
  },
  'tank-cleaning': {
    scenario: 'B5',
    variant: null,
    cause: null,
    what: 'A tank is drained and cleaned.',
    apply: (t, _s, f, p) => {
      const id = firstTank(p, f)
      const held = p.tanks.find((x) => x.id === id)
      if (held && held.water.litres > 0.035 * held.volumeL) t.leak.set(id, 120)
      else t.inAir.add(id)
      for (const e of p.spec.site.equipment) if (e.kind === 'aerator' && e.serves.includes(id)) t.handOff.add(e.id)
    },
  },
  'link-out': {
    scenario: 'B6',
    variant: null,
    cause: 'link',
    what: 'The radio link is gone; the controller keeps what it can and sends it in a burst.',
    apply: (t) => void (t.linkDown = true),
  },
  'power-cut': { scenario: 'B7', variant: null, cause: 'power', what: 'The mains are off for some minutes.', apply: (t) => void (t.mains = false) },
  'new-probe': {
    scenario: 'B8',
    variant: null,
    cause: null,
    what: 'A new pH electrode reads higher than the old one did.',
    apply: (t, s, f, p) => spoil(t, signalOf(p, f, 'ph'), { offset: 0.35 * s }),
  },
  'calibrated-oxygen': {
    scenario: 'B8',
    variant: 'oxygen',
    cause: null,
    what: 'The oxygen probe was calibrated and reads higher than before.',
    apply: (t, s, f, p) => spoil(t, signalOf(p, f, 'do'), { offset: 0.8 * s }),
  },
  calibration: {
    scenario: null,
    variant: null,
    cause: null,
    what: 'The probes hang in air and buffers for 20 minutes, then read true again.',
    apply: (t, _s, f, p) => {
      if (p.nowMs - f.onsetMs < 1_200_000) for (const tank of p.water.bio) t.inAir.add(tank.id)
      p.servedMs = p.nowMs
    },
  },
  visit: {
    scenario: null,
    variant: null,
    cause: null,
    what: 'A technician resets what tripped, fills drums, wipes the probes and leaves everything in auto.',
    apply: (_t, _s, _f, p) => {
      for (const m of p.machines.values()) m.needsReset = false
      for (const d of p.drums.values()) d.leftL = Math.max(d.leftL, 0.95 * d.fullL)
      p.servedMs = p.nowMs
    },
  },
  reseeding: {
    scenario: null,
    variant: null,
    cause: null,
    what: 'Fresh culture is poured in: a fifth of what the tank once held.',
    apply: (t, s, f, p) => {
      const tank = p.water.bio.find((x) => x.id === firstTank(p, f))
      if (tank) t.seeded.set(tank.id, (0.2 * s * tank.culture.room) / (((f.endMs ?? f.onsetMs + 3_600_000) - f.onsetMs) / 3_600_000))
    },
  },
} as const satisfies Record<string, Kind>
