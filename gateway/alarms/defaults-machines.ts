/**
 * Machines that run and do not do their work: transfer pump, ozone, paper drive. What burns a motor in seconds is for
 * the trip on site (its bit is an alarm of its own); here stands what a person can still do something about. Common practice, no source.
 */
import type { Equipment, Signal, Site } from '../site/site.ts'
import { at, machinesOf, stageOf, washerSignal } from '../vitals/places.ts'
import { capital, delayFor, HOUR, MIN, PRACTICE, type Draft } from './draft.ts'

const DAY = 24 * HOUR
/** Share of a sump between the levels that start and stop its pump, and minutes where volume or flow are not known. Common practice, no source. */
const LIFT_SHARE = 0.4
const USUAL_EMPTY_MIN = 15

export function machineAlarms(site: Site): readonly Draft[] {
  return [...machinesOf(site, 'pump').flatMap((e) => [...moves(site, e), ...light(site, e), ...inflow(site, e)]), ...ozone(site), ...paper(site)]
}

const common = { class: 'equipment', severity: 'major', latching: false, cautions: ['lockout', 'electricity'] } as const

/** The transfer pump: it stands at the sump, and the finished-water tank rises by what it brings round. */
function moves(site: Site, pump: Equipment): readonly Draft[] {
  const run = at(site, pump.id, 'run')
  if (!run) return []
  const flow = pump.flowLPerMin === null ? null : at(site, pump.id, 'flow')
  const sump = stageOf(site, 'sump')
  const drawsFrom = pump.serves.length === 0 || (sump !== null && pump.serves.includes(sump.id))
  const source = sump && drawsFrom ? at(site, sump.id, 'level') : null
  const finished = stageOf(site, 'finished')
  const target = finished && drawsFrom ? at(site, finished.id, 'level') : null
  if (!flow && !source) return []
  const name = pump.name.toLowerCase()
  const change = 2 * Math.max(source?.resolution ?? 1, target?.resolution ?? 1)
  return [
    {
      ...common,
      key: `${pump.id}.no-effect`,
      stage: sump?.id ?? null,
      rule: {
        kind: 'no-effect',
        run: run.id,
        flow: flow && { signal: flow.id, low: (pump.flowLPerMin ?? 0) / 4 },
        source: flow ? null : (source?.id ?? null),
        target: flow ? null : (target?.id ?? null),
        change,
        withinMs: flow ? Math.max(5 * MIN, 2 * flow.sampleEveryMs) : 20 * MIN,
        idle: washerSignal(site, 'run')?.id ?? null,
        onDelayMs: 0,
        offDelayMs: 2 * MIN,
      },
      what: `${capital(name)} runs and moves no water`,
      cause: 'Air-locked, strainer blocked, valve shut, coupling broken, or the paper filter so blind that nothing passes.',
      consequence: 'The pump seal burns; washing stops when the finished water is used up, in about 4 h, and the sump fills.',
      action: [
        `Yard, by phone: is the ${name} warm and humming without water moving? Switch it off; less washing.`,
        `At the ${name}: lock out, clear the strainer, vent it, see the valves open.`,
        'At the paper filter: water standing on the paper means it is blinded: advance it.',
      ],
      confirm: flow ? 'The flow is back while it runs.' : 'The sump falls while it runs and nobody washes.',
      respondWithinMin: 60,
      basis: `${flow ? `Flow below a quarter of ${pump.flowLPerMin} L/min for 5 min of running` : `Sump not fallen and finished water not risen by ${change} % in 20 min of running; while somebody washes only levels that go the wrong way count`}. ${capital(PRACTICE)}.`,
    },
  ]
}

/** Water that nobody washed with reaches the sump: a cloudburst, a hose, a valve. The pump says it first, an hour or two before the tanks are full. */
function inflow(site: Site, pump: Equipment): readonly Draft[] {
  const run = at(site, pump.id, 'run')
  const sump = stageOf(site, 'sump')
  const wash = washerSignal(site, 'run') ?? washerSignal(site, 'volume')
  if (!run || !wash || !sump || (pump.serves.length > 0 && !pump.serves.includes(sump.id))) return []
  const emptyMin = sump.volumeL !== null && pump.flowLPerMin ? (LIFT_SHARE * sump.volumeL) / pump.flowLPerMin : USUAL_EMPTY_MIN
  const longMin = Math.ceil(2 * emptyMin)
  const name = pump.name.toLowerCase()
  return [
    {
      ...common,
      key: `${pump.id}.inflow`,
      stage: sump.id,
      class: 'environment',
      cautions: ['discharge', 'confined-space', 'lockout'],
      rule: { kind: 'state', signal: run.id, value: 1, onDelayMs: delayFor(run, longMin * MIN), offDelayMs: HOUR, when: { idle: wash.id, idleForMs: 30 * MIN } },
      what: 'Water comes into the sump although nobody washes',
      cause: 'A cloudburst on an open pad, a hose left running, a tank or valve that leaks into the sump; or the pump moves nothing.',
      consequence: 'The finished-water tank fills within the hour, then the transfer stops and the sump runs over some 40 min later.',
      action: [
        'Yard, by phone: is it raining on the pad, is a hose or a valve open? Shut it, put the diverter to rain.',
        'At the finished-water tank and the sump: how much room is left?',
        `At the ${name}: does water move? If not, strainer and air lock.`,
      ],
      confirm: `The ${name} rests while nobody washes.`,
      respondWithinMin: 90,
      basis: `One run of ${longMin} min, twice what it takes to empty the sump, beginning or going on 30 min after the last wash: as much comes in as half the pump moves. ${capital(PRACTICE)}.`,
    },
  ]
}

/** Current against its own median while it runs. */
function light(site: Site, pump: Equipment): readonly Draft[] {
  const [run, current] = [at(site, pump.id, 'run'), at(site, pump.id, 'current')]
  if (!run || !current) return []
  const name = pump.name.toLowerCase()
  return [
    {
      ...common,
      key: `${current.id}.light`,
      stage: current.stage,
      rule: {
        kind: 'deviation',
        signal: current.id,
        from: { kind: 'median', spanMs: 30 * DAY, leastMs: 3 * DAY },
        as: 'ratio',
        side: 'low',
        limit: 0.75,
        deadband: 0.1,
        onDelayMs: delayFor(current, 5 * MIN),
        offDelayMs: delayFor(current, 2 * MIN),
        when: { signal: run.id, signalForMs: MIN, both: true },
      },
      what: `${capital(name)} draws far less current than it used to`,
      cause: 'It runs dry or air-locked, the strainer is blocked, the impeller is worn; or a phase is weak.',
      consequence: 'Less water goes round, or none; a dry seal burns in minutes, which the trip on site should prevent.',
      action: [
        `At the ${name}: lock out; strainer, vent, coupling; then current and flow while it runs.`,
        'At the panel: has the dry-run trip acted? A second trip needs an electrician.',
      ],
      confirm: 'The current is back within a tenth of what it was.',
      respondWithinMin: 720,
      basis: `Below 75 % of its own median of 30 days for 5 min, more than 1 min after a start: an air-locked pump loses about a third (arithmetic on a reference loop). ${capital(PRACTICE)}.`,
    },
  ]
}

function ozone(site: Site): readonly Draft[] {
  return machinesOf(site, 'ozone').flatMap((e) => {
    const run = at(site, e.id, 'run')
    if (!run) return []
    // It rests when nobody washes, and so all through a weekend.
    const wash = washerSignal(site, 'run')
    return [
      {
        ...common,
        key: `${run.id}.idle`,
        stage: e.serves[0] ?? null,
        severity: 'minor',
        cautions: ['ozone', 'lockout'],
        rule: wash
          ? {
              kind: 'stuck',
              signal: run.id,
              change: 1,
              forMs: 5 * MIN,
              through: { signal: wash.id, settleMs: HOUR, times: 12 },
              restsLow: null,
              restsHigh: 1,
              onDelayMs: 0,
              offDelayMs: 0,
            }
          : { kind: 'state', signal: run.id, value: 0, onDelayMs: 3 * DAY, offDelayMs: 10 * MIN },
        what: `${e.name} does not run although vehicles are washed`,
        cause: 'Tripped, switched off after a visit, its timer lost, or the room monitor has stopped it.',
        consequence: 'Smell and slime in the finished water within days.',
        action: [
          'Yard, by phone: is the beacon of the room monitor lit? Then keep out and ventilate.',
          `At the ${e.name.toLowerCase()}: selector, timer, fault lamp; lock it out before you open it.`,
        ],
        confirm: 'It runs by its timer again.',
        respondWithinMin: 720,
        basis: `${wash ? 'Not one run through twelve washes of 5 min or more and an hour after each: about a day' : 'Not one run in three days, longer than a weekend'}. ${capital(PRACTICE)}.`,
      } as const,
    ]
  })
}

function paper(site: Site): readonly Draft[] {
  const filter = stageOf(site, 'filter')
  const wash = washerSignal(site, 'run')
  if (!filter || !wash) return []
  const places = [filter.id, ...machinesOf(site, 'filter-drive').map((e) => e.id)]
  const pulses: Signal | undefined = site.signals.find((s) => s.quantity === 'pulses' && s.at !== null && places.includes(s.at))
  if (!pulses) return []
  return [
    {
      ...common,
      key: `${pulses.id}.still`,
      stage: filter.id,
      rule: {
        kind: 'stuck',
        signal: pulses.id,
        change: 1,
        forMs: 10 * MIN,
        through: { signal: wash.id, settleMs: 30 * MIN, times: 12 },
        restsLow: null,
        restsHigh: null,
        onDelayMs: 0,
        offDelayMs: 0,
      },
      what: 'The paper does not advance although vehicles are washed',
      cause: 'Torn paper, end of the roll, a jammed drive, or its float stuck.',
      consequence: 'Water bypasses the filter: solids reach the biology within hours of washing.',
      action: ['At the paper filter: lock out the drive; is the paper whole, the float free, the roll full?', 'Turn it on by hand once and see the pulse arrive here.'],
      confirm: 'An advance is counted.',
      respondWithinMin: 180,
      cautions: ['lockout'],
      basis: `Not one advance through twelve washes of 10 min or more: about 3 m3. ${capital(PRACTICE)}.`,
    },
  ]
}
