/** Dosing pumps: one that does not stop, one that nothing answers, one that doses too much for what was washed. Limits are common practice, no source. */
import { washSignal } from '../outlook/washed.ts'
import { protectionNamed } from '../site/protections.ts'
import type { Equipment, Signal, Site } from '../site/site.ts'
import { capital, HOUR, MIN, placeOf, PRACTICE, spell, type Draft } from './draft.ts'

export function dosingAlarms(site: Site): readonly Draft[] {
  return acidPumps(site).flatMap((p) => [longRun(site, p), ...noAnswer(site, p), ...tooMuch(site, p)])
}

/** Minutes of dosing in a day below which twice the usual is nothing. Common practice, no source. */
const LEAST_MIN = 30

interface AcidPump {
  readonly pump: Equipment
  readonly run: Signal
}

/** Pumps that can make the water acid, with the contact that shows them run. */
export function acidPumps(site: Site): readonly AcidPump[] {
  return site.equipment
    .filter((e) => e.kind === 'dosing' && (e.doses === 'acid' || e.doses === 'alum'))
    .flatMap((pump) => site.signals.filter((s) => s.quantity === 'run' && s.at === pump.id).map((run) => ({ pump, run })))
}

/** "acid pump", also where the site file calls it just "acid". */
export const pumpName = (pump: Equipment): string => (/pump/i.test(pump.name) ? pump.name.toLowerCase() : `${pump.name.toLowerCase()} pump`)

const timerOf = (pump: Equipment): string => `${pump.doses}-max-run`

/** Minutes are left: what should have stopped the pump by itself, and who can do it by hand. */
export function stopFirst(site: Site, pump: Equipment): string {
  const name = pumpName(pump)
  return protectionNamed(site, timerOf(pump))?.fitted === 'yes'
    ? `Yard, by phone: the local timer should have stopped the ${name}; look, and switch it off at its disconnect now.`
    : `Yard, by phone: no timer stops the ${name} here; have it switched off at its disconnect now.`
}

function longRun(site: Site, { pump, run }: AcidPump): Draft {
  const served = site.stages.find((s) => pump.serves.includes(s.id))
  const name = pumpName(pump)
  // A contact that comes in blocks of rows is known to have opened only with the next block.
  const floorMs = Math.max(MIN, run.reportEveryMs)
  return {
    key: `${run.id}.long`,
    stage: served?.id ?? null,
    rule: { kind: 'over-run', run: run.id, factor: 3, floorMs, unlearnedMs: Math.max(5 * MIN, floorMs), offDelayMs: MIN },
    what: `${capital(name)} does not stop`,
    cause: 'A stuck relay, a selector left in hand, or a pH probe that no longer answers.',
    consequence: 'pH crash: at 2 L/h of 35 % acid a 2.3 m3 tank is below pH 5 in 13 min.',
    action: [
      stopFirst(site, pump),
      `At the ${name}: lock it out, with goggles, face shield and gloves; is the selector in hand?`,
      `At ${served ? placeOf(served) : 'the dosed tank'}: read the pH with a second meter.`,
    ],
    confirm: 'The pump contact is open; pH is above 6.5.',
    respondWithinMin: 10,
    cautions: ['dosing', 'h2s', 'lockout'],
    basis: `One run longer than three times the longest normal pulse of this loop, learned from ten pulses, and than ${spell(floorMs)}; ${spell(Math.max(5 * MIN, floorMs))} until then. ${capital(PRACTICE)}.`,
    class: 'process',
    severity: 'major',
    latching: false,
    protection: timerOf(pump),
  }
}

function noAnswer(site: Site, { pump, run }: AcidPump): readonly Draft[] {
  const ph = site.signals.find((s) => s.quantity === 'ph' && s.at !== null && pump.serves.includes(s.at))
  if (!ph) return []
  const name = pumpName(pump)
  const tank = site.stages.find((s) => s.id === ph.at)
  const where = tank ? placeOf(tank) : 'the dosed tank'
  const common = {
    stage: ph.at,
    cause: 'Empty drum, lost prime, a torn hose, or a pH probe that is fouled or has lost its reference.',
    confirm: 'The next dose moves pH as it used to.',
    class: 'process',
    severity: 'major',
    latching: false,
    cautions: ['dosing', 'lockout'],
    protection: timerOf(pump),
  } as const
  const rule = { kind: 'no-response', run: run.id, signal: ph.id, side: 'down', settleMs: 10 * MIN, share: 0.3, onDelayMs: 0, offDelayMs: 0 } as const
  return [
    {
      ...common,
      key: `${ph.id}.no-answer`,
      rule: { ...rule, doses: 5 },
      what: `pH does not answer the ${name}`,
      consequence: 'Either nothing is dosed, or it is dosed blindly: the next step is water too alkaline or far too acid.',
      action: [
        `At the ${name}: is there product in the drum, is the hose full, does it stroke?`,
        `At ${where}: read pH with a second meter; put the probe in buffer 7 and 4.`,
        'Until that is known: dosing off by the selector on site.',
      ],
      respondWithinMin: 240,
      basis: `Five doses together moved pH by less than 30 % of what the doses of this loop usually do, minute of dosing for minute. ${capital(PRACTICE)}.`,
    },
    {
      ...common,
      key: `${ph.id}.no-answer-on`,
      rule: { ...rule, doses: 10 },
      what: `${capital(name)} keeps dosing and pH does not answer`,
      consequence: 'If the probe is wrong the tank is being acidified unseen: the biology dies within hours.',
      action: [
        `Yard, by phone: switch the ${name} off at its disconnect.`,
        `At ${where}: read pH with a second meter before anything else; hold the feed if it is below 6.`,
        `At the ${name}: drum, hose, strokes; with goggles, face shield and gloves.`,
      ],
      respondWithinMin: 60,
      basis: `Ten doses in a row without an answer: the controller keeps dosing. ${capital(PRACTICE)}.`,
    },
  ]
}

function tooMuch(site: Site, { pump, run }: AcidPump): readonly Draft[] {
  const wash = washSignal(site)
  if (!wash) return []
  const name = pumpName(pump)
  return [
    {
      key: `${run.id}.day`,
      stage: pump.serves[0] ?? null,
      rule: { kind: 'day-total', signal: run.id, wash: wash.signal.id, factor: 2, least: LEAST_MIN, onDelayMs: 0, offDelayMs: HOUR },
      what: `${capital(name)} has dosed twice what the washing asks for`,
      cause: 'A drifting pH probe, alkaline wash water (cement, lime, a strong cleaner), or product that is weaker than it was.',
      consequence: 'Alkalinity is used up; if the probe is wrong the biology is being acidified slowly.',
      action: [
        'Wash log: concrete, lime or a strong cleaner on the pad?',
        'At the dosed tank: pH with a second meter, alkalinity with the kit; probe in buffers.',
        `At the ${name}: which product is in the drum, and how strong?`,
      ],
      confirm: 'The next day doses what the loop usually needs for as much washing.',
      respondWithinMin: 240,
      cautions: ['dosing'],
      basis: `Dosed in 24 h more than twice what this loop usually needs for as much washing (median of its washing days), and more than ${LEAST_MIN} min in all, a litre at 2 L/h: a heavy day is no fault, nor is a day of ten pulses that are looked at once a minute. ${capital(PRACTICE)}.`,
      class: 'process',
      severity: 'major',
      latching: false,
    },
  ]
}
