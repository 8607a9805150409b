/** Air and oxygen: what keeps the biology alive, and what it breathes. Limits are common practice, no source, and not yet tuned on data. */
import type { Equipment, Signal, Site } from '../site/site.ts'
import { capital, HOUR, limitRule, MIN, placeOf, placesOf, PRACTICE, signalsOf, spell, stageAt, washSignal, type Draft } from './draft.ts'

/** Water column, mbar per mm of depth: density of water x g. Source: hydrostatics. */
const MBAR_PER_MM = 0.0981
/** Clean diffuser and line, mbar. Common practice, no source. */
const LINE_MBAR = 30
/** Below this share of the pressure of a healthy line no air gets through, or a line is off (common practice, no source). */
const PROOF_SHARE = 0.6
/** Share of the pressure of a healthy line by which it may rise in a day: clogging diffusers take twice that (common practice, no source). */
const CREEP_PER_DAY = 0.0025
/** Depth taken where it is not in the site file, mm. */
const USUAL_MM = 1400

export function airAlarms(site: Site): readonly Draft[] {
  return [...site.equipment.filter((e) => e.kind === 'aerator').flatMap((e) => [...noAir(site, e), ...creep(site, e)]), ...signalsOf(site, 'do').flatMap((s) => oxygen(site, s))]
}

/** What its line should stand at: the shallowest tank decides, the air of a healthy line never stands lower than that, so a lower limit raises nothing in vain. */
function lineOf(site: Site, machine: Equipment) {
  const served = site.stages.filter((s) => machine.serves.includes(s.id))
  const depths = served.map((s) => s.tank?.heightMm).filter((h) => h !== undefined)
  const depthMm = depths.length > 0 ? Math.min(...depths) : USUAL_MM
  return { served, depths, depthMm, healthyMbar: depthMm * MBAR_PER_MM + LINE_MBAR }
}

function noAir(site: Site, machine: Equipment): readonly Draft[] {
  const own = (q: Signal['quantity']): Signal | undefined => site.signals.find((s) => s.quantity === q && s.at === machine.id)
  const run = own('run')
  const pressure = own('pressure')
  const flow = machine.flowLPerMin === null ? undefined : own('flow')
  const proof = pressure ?? flow
  if (!run && !proof) return []
  const { served, depths, depthMm, healthyMbar } = lineOf(site, machine)
  const mbar = Math.round(PROOF_SHARE * healthyMbar)
  const proofLow = pressure ? (pressure.unit === 'bar' ? mbar / 1000 : mbar) : flow ? (machine.flowLPerMin ?? 0) / 2 : null
  const proofBasis = pressure
    ? `pressure below ${mbar} mbar, 60 % of ${depthMm} mm of water${depths.length > 0 ? '' : ' (taken: no depth in the site file)'} and ${LINE_MBAR} mbar of diffuser and line; better: 60 % of what was read at commissioning`
    : flow
      ? 'flow below half of the blower'
      : 'run contact only: it is blind to a torn air line'
  const oxygenAt = served.flatMap((s) => site.signals.filter((x) => x.quantity === 'do' && x.at === s.id))[0]
  const watched = proof ?? run
  if (!watched) return []
  const onDelayMs = Math.max(10 * MIN, 2 * watched.reportEveryMs, machine.longestPlannedOffMs + 5 * MIN)
  const fastOnDelayMs = Math.max(3 * MIN, 2 * watched.sampleEveryMs)
  const treatment = served.some((s) => s.kind === 'treatment')
  const where = placesOf(served)
  return [
    {
      key: `${machine.id}.no-air`,
      stage: served[0]?.id ?? null,
      rule: {
        kind: 'no-air',
        equipment: machine.id,
        run: run?.id ?? null,
        proof: proof?.id ?? null,
        proofLow,
        onDelayMs,
        offDelayMs: Math.max(5 * MIN, 2 * watched.sampleEveryMs),
        oxygen: oxygenAt?.id ?? null,
        doFastBelow: 1,
        fastOnDelayMs,
      },
      what: `No air in ${where}`,
      cause: `${capital(machine.name)} has tripped, is switched off or did not restart after a power cut; or its air line has come off.`,
      consequence: treatment
        ? 'The treatment unit is without oxygen in 6 min while washing, in about 80 min idle, and smells 5 to 16 h after that, sooner when warm. Then the water is septic: hydrogen sulphide, finished water nobody can use.'
        : 'A bio tank is without oxygen in 1.5 h while washing, in 6 h idle. Then the water turns septic: smell, hydrogen sulphide, finished water nobody can use.',
      action: [
        `Yard, by phone: is the ${machine.name.toLowerCase()} running and is its power on? Ask them to stop washing.`,
        `At the ${machine.name.toLowerCase()}: lock it out, look at the overload, the air filter and the hose to the tank; reset once, then call for a replacement.`,
        `At ${where}: bubbles must rise all over the surface. Do not lean over a black or smelly tank.`,
      ],
      confirm: `${pressure ? 'Air pressure is back above its limit' : flow ? 'Air flow is back' : 'The contact is closed and bubbles are seen'}, and oxygen rises within 30 min.`,
      respondWithinMin: treatment ? 8 : 90,
      cautions: ['lockout', 'electricity', 'h2s', 'confined-space'],
      basis: `${capital(proofBasis)}; on-delay ${spell(onDelayMs)}, ${spell(fastOnDelayMs)} once oxygen is below 1 mg/L. Times to no oxygen: arithmetic on a reference loop. ${capital(PRACTICE)}.`,
      class: 'process',
      severity: 'severe',
      latching: false,
    },
  ]
}

/** Diffusers that clog: the pressure creeps up long before oxygen tells, so it is work for one of the next visits and calls nobody. */
function creep(site: Site, machine: Equipment): readonly Draft[] {
  const pressure = site.signals.find((s) => s.quantity === 'pressure' && s.at === machine.id)
  if (!pressure) return []
  const { served, healthyMbar } = lineOf(site, machine)
  const perDay = (CREEP_PER_DAY * healthyMbar) / (pressure.unit === 'bar' ? 1000 : 1)
  const run = site.signals.find((s) => s.quantity === 'run' && s.at === machine.id)
  const name = machine.name.toLowerCase()
  return [
    {
      key: `${pressure.id}.creep`,
      stage: served[0]?.id ?? null,
      rule: {
        kind: 'drift',
        signal: pressure.id,
        side: 'high',
        perDay,
        deadband: perDay / 2,
        spanMs: 21 * 24 * HOUR,
        onDelayMs: HOUR,
        offDelayMs: 24 * HOUR,
        ...(run && { when: { signal: run.id, signalForMs: 5 * MIN } }),
      },
      what: `Air pressure of the ${name} creeps up`,
      cause: 'Diffusers or their line clog, or an outlet filter; a tank that stands higher than before does the same.',
      consequence: 'Less oxygen from the same air: within weeks oxygen is gone in every wash, and the blower runs hot.',
      action: [
        `At ${placesOf(served)}: is the bubble pattern even? Note the level beside the pressure.`,
        `At the ${name}: pressure against that of commissioning; 15 % more means diffusers to clean or replace.`,
        'Plan the cleaning for one of the next visits; write it into the site log.',
      ],
      confirm: 'The pressure is back to what it was at commissioning.',
      respondWithinMin: 7 * 24 * 60,
      cautions: ['lockout', 'confined-space'],
      basis: `${100 * CREEP_PER_DAY} % a day over three weeks, the near end of the 95 % interval counted: half of what diffusers do that clog within two months. ${capital(PRACTICE)}.`,
      class: 'equipment',
      severity: 'minor',
      latching: false,
      alert: true,
    },
  ]
}

function oxygen(site: Site, s: Signal): readonly Draft[] {
  const stage = stageAt(site, s)
  if (!stage || (stage.kind !== 'treatment' && stage.kind !== 'bio')) return []
  const where = placeOf(stage)
  const wash = washSignal(site)
  const when = wash ? { idle: wash.id } : undefined
  const outside = wash ? ' outside washing' : ''
  return [
    {
      key: `${s.id}.low`,
      stage: stage.id,
      rule: limitRule(s, 'low', 2, 0.2, HOUR, 10 * MIN, when),
      what: `Little oxygen in ${where}`,
      cause: 'More load than air: heavy washing, a degreaser, fouled diffusers, a tired blower; or a fouled probe.',
      consequence: 'Treatment slows down, nitrification first; if it goes on the tank turns septic.',
      action: [
        'Wash log: was there an unusually heavy or chemical wash? If so wait 3 h without washing.',
        `At ${where}: look for an even bubble pattern and white foam; wipe the oxygen probe and read it in air.`,
        'At the blower: read the pressure; higher than when new means fouled diffusers, lower a leak.',
      ],
      confirm: 'Oxygen is above {clear} mg/L an hour after the last wash; in air the probe reads saturation.',
      respondWithinMin: 240,
      cautions: ['h2s', 'confined-space', 'lockout'],
      basis: `2.0 mg/L (nitrifiers need more than 2: EPA 1975 as quoted in a University of Wisconsin text) for 60 min${outside}; below 2 is normal in every wash. Delay: ${PRACTICE}.`,
      class: 'process',
      severity: 'major',
      latching: false,
    },
    {
      key: `${s.id}.low-low`,
      stage: stage.id,
      rule: limitRule(s, 'low', 0.5, 0.3, 30 * MIN, 5 * MIN, when),
      what: `Almost no oxygen in ${where}`,
      cause: 'Air is lost (blower, line, diffuser), or far more load than the air can carry.',
      consequence: 'Septic within hours: smell and hydrogen sulphide, finished water nobody can use, biology set back.',
      action: [
        'Yard, by phone: stop washing; is the blower running?',
        'At the blower: pressure and current; restore air first, everything else after it.',
        `At ${where}: bubbles all over? Foam? Keep your head out of a black or smelly tank.`,
      ],
      confirm: 'Oxygen rises within 30 min of air being back.',
      respondWithinMin: 120,
      cautions: ['h2s', 'confined-space', 'lockout'],
      basis: `0.5 mg/L disturbs respiration (Bioresource Technology 2017, doi 10.1016/j.biortech.2017.06.166) for 30 min${outside}. Delay: ${PRACTICE}.`,
      class: 'process',
      severity: 'severe',
      latching: false,
    },
  ]
}
