/**
 * What is out of order at this moment, in the plant's own terms. Faults (simulator/faults) write it afresh before each step; the
 * plant only reads it. Everything at its resting value is a healthy loop.
 */
export interface Dose {
  /** Bath the stuff is poured into: a stage id; `pad` for what a driver pours out. */
  readonly stage: string
  readonly species: number
  readonly gPerH: number
}

export interface Probe {
  /** Added to what the instrument shows. */
  offset?: number
  /** Factor on it. */
  gain?: number
  /** Shows what it showed at the onset. */
  frozen?: boolean
  /** Gives no figure. */
  lost?: boolean
  /** Without its noise. */
  still?: boolean
  /** Seconds added to its lag. */
  lagS?: number
}

export interface Troubles {
  /** Nothing has been written since it was last settled: most loops, most of the time. */
  settled: boolean
  mains: boolean
  /** Machine ids that cannot run: tripped (the trip lamp shows) or switched off by hand (the selector shows). */
  readonly tripped: Set<string>
  readonly handOff: Set<string>
  /** Share of its air a stage has lost to a torn line; pressure falls with the worst. */
  readonly airLost: Map<string, number>
  /** Share of transfer lost to clogged diffusers. */
  fouling: number
  /** Share of the transfer pump's flow lost to air in the pump. */
  airlock: number
  makeUpStuck: boolean
  makeUpShut: boolean
  readonly doseStuck: Set<string>
  /** Protections (site file ids) that do not act although present. */
  readonly defeated: Set<string>
  /** Chance that a vehicle stands on the pad although none was booked. */
  rush: number
  /** Share of booked washing that does not happen. */
  noWash: boolean
  stormMmPerH: number
  /** L/min lost from a stage. */
  readonly leak: Map<string, number>
  readonly poured: Dose[]
  readonly probes: Map<string, Probe>
  /** Degrees added to the air. */
  airC: number
  /** Share of the alkalinity of the mains water that is gone: a softener, another source. */
  softened: number
  /** Nitrification or other use of alkalinity, mg CaCO3/L/h in every aerated tank. */
  alkalinityUse: number
  linkDown: boolean
  /** Aerators a timer has stopped: no trip, selector in auto. */
  readonly paused: Set<string>
  /** One phase is gone. */
  phaseLost: boolean
  /** L/min from the finished tank back into the first aerated tank; the generator runs without pause. */
  ozoneReturn: number
  ozoneForced: boolean
  nutrientOff: boolean
  /** Mains water by hose into a stage, L/min. */
  readonly hose: Map<string, number>
  /** Share per h of the attached culture that tears off. */
  torn: number
  /** Temperature of the lance water when a hot-water cleaner is used; 0: the pump alone warms it. */
  hotC: number
  /** Tanks whose overflow to the next is blocked. */
  readonly crestBlocked: Set<string>
  /** Nobody brings a new roll. */
  rollHeld: boolean
  /** The program of the controller stands still. */
  panelFrozen: boolean
  /** Tanks whose probes hang in air. */
  readonly inAir: Set<string>
  /** Fresh culture poured in, g COD/h by tank. */
  readonly seeded: Map<string, number>
  /** The controller's clock against the true time, ms; and how it writes its stamps. */
  clockMs: number
  stamps: 'zoned' | 'zoneless' | 'none'
  /** Every message goes out twice. */
  twice: boolean
}

export const calm = (): Troubles => ({
  settled: false,
  mains: true,
  tripped: new Set(),
  handOff: new Set(),
  airLost: new Map(),
  fouling: 0,
  airlock: 0,
  makeUpStuck: false,
  makeUpShut: false,
  doseStuck: new Set(),
  defeated: new Set(),
  rush: 0,
  noWash: false,
  stormMmPerH: 0,
  leak: new Map(),
  poured: [],
  probes: new Map(),
  airC: 0,
  softened: 0,
  alkalinityUse: 0,
  linkDown: false,
  paused: new Set(),
  phaseLost: false,
  ozoneReturn: 0,
  ozoneForced: false,
  nutrientOff: false,
  hose: new Map(),
  torn: 0,
  hotC: 0,
  crestBlocked: new Set(),
  rollHeld: false,
  panelFrozen: false,
  inAir: new Set(),
  seeded: new Map(),
  clockMs: 0,
  stamps: 'zoned',
  twice: false,
})

export function settle(t: Troubles): void {
  t.settled = true
  t.mains = true
  t.tripped.clear()
  t.handOff.clear()
  t.airLost.clear()
  t.fouling = 0
  t.airlock = 0
  t.makeUpStuck = false
  t.makeUpShut = false
  t.doseStuck.clear()
  t.defeated.clear()
  t.rush = 0
  t.noWash = false
  t.stormMmPerH = 0
  t.leak.clear()
  t.poured.length = 0
  t.probes.clear()
  t.airC = 0
  t.softened = 0
  t.alkalinityUse = 0
  t.linkDown = false
  t.paused.clear()
  t.phaseLost = false
  t.ozoneReturn = 0
  t.ozoneForced = false
  t.nutrientOff = false
  t.hose.clear()
  t.torn = 0
  t.hotC = 0
  t.crestBlocked.clear()
  t.rollHeld = false
  t.panelFrozen = false
  t.inAir.clear()
  t.seeded.clear()
  t.clockMs = 0
  t.stamps = 'zoned'
  t.twice = false
}
