/**
 * Local protections: what acts in the yard within seconds, where an alarm would come too late. Which ones a loop should have follows from
 * what stands on it; whether it has them, and when each was last shown to work, is in its site file and its site log.
 * Which are expected, how each is proved and how often: common practice, no source; the manual of the maker and the local rule decide.
 */
import type { Site } from './site.ts'

export interface ProtectionLine {
  /** Name in the site file; the log entry that proves it is about this. */
  readonly id: string
  readonly what: string
  /** `unknown`: expected on such a loop, and the site file does not speak of it. */
  readonly fitted: 'yes' | 'no' | 'unknown'
  /** Local date of the site file, `2026-09-14`; null: none there. */
  readonly provedOn: string | null
  /** How a person on site shows that it works. */
  readonly prove: string
  readonly everyDays: number
}

interface Kind {
  readonly id: RegExp
  /** Name it would have in the site file of a loop that should have it; null: this loop need not. */
  readonly neededAs: (site: Site) => string | null
  readonly what: string
  readonly prove: string
  readonly everyDays: number
}

const MONTH = 31
const YEAR = 365
const has = (id: string, yes: boolean): string | null => (yes ? id : null)

const KINDS: readonly Kind[] = [
  {
    id: /^(acid|alum)-max-run$/,
    neededAs: (site) => {
      const pump = site.equipment.find((e) => e.kind === 'dosing' && (e.doses === 'acid' || e.doses === 'alum'))
      return pump ? `${pump.doses}-max-run` : null
    },
    what: 'A timer stops the acid or alum pump after one long run',
    prove: 'Suction hose in a bucket of water, goggles on: hold the call for a dose and take the time until the timer stops the pump.',
    everyDays: MONTH,
  },
  {
    id: /^sump-high-high$/,
    neededAs: (site) =>
      has(
        'sump-high-high',
        site.stages.some((s) => s.kind === 'sump'),
      ),
    what: 'A float in the sump stops the washer',
    prove: 'Lift the float with a hook from the edge while somebody washes: the washer must stop and stay off. Nobody climbs in.',
    everyDays: MONTH,
  },
  {
    id: /^finished-low-low$/,
    neededAs: (site) =>
      has(
        'finished-low-low',
        site.stages.some((s) => s.kind === 'finished'),
      ),
    what: 'A float in the finished-water tank stops the washer before it runs dry',
    prove: 'Hold the float down while the washer runs: it must stop.',
    everyDays: MONTH,
  },
  {
    id: /^restart-after-power$/,
    neededAs: (site) =>
      has(
        'restart-after-power',
        site.equipment.some((e) => e.kind === 'aerator'),
      ),
    what: 'The blower restarts by itself when power returns',
    prove: 'Everybody clear of the machines: main switch off for a minute, on again; the blower must run within the time set, without a hand.',
    everyDays: 3 * MONTH,
  },
  {
    id: /^ozone-(beacon|stop)/,
    neededAs: (site) =>
      has(
        'ozone-beacon',
        site.equipment.some((e) => e.kind === 'ozone'),
      ),
    what: 'A room monitor stops the ozone generator at 0.1 ppm and lights a beacon outside',
    prove: 'Test key or test gas at the monitor: beacon lit, generator stopped.',
    everyDays: MONTH,
  },
  {
    id: /^h2s-(beacon|fan)/,
    neededAs: (site) =>
      has(
        'h2s-beacon',
        site.signals.some((s) => s.quantity === 'h2s'),
      ),
    what: 'A gas monitor at the sump lights a beacon and starts the fan',
    prove: 'Test gas at the monitor: beacon lit, fan running.',
    everyDays: MONTH,
  },
  {
    id: /bund|containment/,
    neededAs: (site) =>
      has(
        'overflow-bund',
        site.stages.some((s) => s.kind === 'sump' || s.kind === 'treatment'),
      ),
    what: 'A bund under sump and treatment unit holds what runs over',
    prove: 'Look: dry, no cracks, drain valve shut and locked; lift the leak float, if there is one, and see it arrive here.',
    everyDays: 3 * MONTH,
  },
  {
    id: /^backflow/,
    neededAs: () => 'backflow-preventer',
    what: 'A backflow preventer keeps loop water out of the mains',
    prove: 'Test by a person the water supplier accepts; the report goes to the customer.',
    everyDays: YEAR,
  },
  {
    id: /^(rcd|residual)/,
    neededAs: () => 'rcd',
    what: 'Residual-current device in front of everything that stands in the wet',
    prove: 'Press its test key with nobody at the machines: it must trip. Switch on again and see that the blower runs.',
    everyDays: MONTH,
  },
  {
    id: /^e(mergency)?-stop/,
    neededAs: () => 'e-stop',
    what: 'An emergency stop by the washer',
    prove: 'Press it while the washer runs; release it: nothing may start by itself.',
    everyDays: MONTH,
  },
]

/** Every protection of the site file, then those such a loop should have and that its file does not speak of. */
export function protectionsOf(site: Site): readonly ProtectionLine[] {
  const written = site.protections.map((p): ProtectionLine => {
    const kind = KINDS.find((k) => k.id.test(p.id))
    return {
      id: p.id,
      what: p.what,
      fitted: p.present ? 'yes' : 'no',
      provedOn: p.present ? p.provedOn : null,
      prove: kind?.prove ?? 'By the procedure of the site; write down what was done and what was seen.',
      everyDays: kind?.everyDays ?? MONTH,
    }
  })
  const missing = KINDS.flatMap((k): readonly ProtectionLine[] => {
    const id = k.neededAs(site)
    if (id === null || site.protections.some((p) => k.id.test(p.id))) return []
    return [{ id, what: k.what, fitted: 'unknown', provedOn: null, prove: k.prove, everyDays: k.everyDays }]
  })
  return [...written, ...missing]
}

/** The line an alarm rests on, by the name it would have (`acid-max-run`); null: no such loop needs one. */
export function protectionNamed(site: Site, name: string): ProtectionLine | null {
  const kind = KINDS.find((k) => k.id.test(name))
  return protectionsOf(site).find((p) => p.id === name || (kind?.id.test(p.id) ?? false)) ?? null
}
