/**
 * What can hurt someone at a loop: the hazard table, with its figures and where they come from. The figures are from one
 * country's rules; the local rule decides. A source without a remark prints the figures; the others say how we have them.
 */
import type { Site } from './site.ts'

export interface Caution {
  readonly id: string
  readonly title: string
  /** What to tell the person who stands there. */
  readonly text: string
  /** Figures with their unit. */
  readonly figures: string
  readonly source: string
}

/** Closes every caution and every list of them. */
export const CLOSING_RULE =
  'Local codes, the permits of the site, the equipment manuals and a licensed professional decide. This screen informs; it does not authorise entry, energising, dosing changes or discharge. If in doubt stop the loop, keep the air on, and call.'

export const CAUTIONS: readonly Caution[] = [
  {
    id: 'h2s',
    title: 'Hydrogen sulphide',
    text: 'Smell is no warning: the nose goes blind. Do not lean over or enter a black or smelly tank, sump or unaerated cone. Do not add acid to a septic sump.',
    figures:
      'OSHA ceiling 20 ppm, peak 50 ppm for 10 min once if no other exposure; NIOSH ceiling 10 ppm (10 min); immediately dangerous 100 ppm; ACGIH 1 ppm over a shift, 5 ppm short term.',
    source: '29 CFR 1910.1000 Table Z-2; table in PMC5777517 (Nitric Oxide 2017)',
  },
  {
    id: 'confined-space',
    title: 'Confined space',
    text: 'Sump, basin and tanks are permit spaces. No entry on the word of this screen. Test oxygen, then flammable gas, then toxic gas; ventilate; an attendant outside; a rescue plan.',
    figures:
      'Hazardous above 10 % of the lower flammable limit, below 19.5 % or above 23.5 % oxygen, toxic gas above its limit, combustible dust at its limit, or any immediately dangerous condition.',
    source: '29 CFR 1910.146(b) (quoted at second hand)',
  },
  {
    id: 'lockout',
    title: 'Lock out before you touch',
    text: 'Remote stop is not isolation. Lock at the disconnect; bleed the high-pressure line; expect automatic restart.',
    figures: 'Order: prepare, shut down, isolate, attach the device, relieve stored energy and keep checking if it can build up again, verify.',
    source: '29 CFR 1910.147(d)',
  },
  {
    id: 'ozone',
    title: 'Ozone',
    text: 'Leave on smell or irritation; ventilate; stop the generator before opening the tank.',
    figures:
      'OSHA limit over 8 h 0.1 ppm (0.2 mg/m3); NIOSH ceiling 0.1 ppm; immediately dangerous 5 ppm; ACGIH 0.05 ppm heavy, 0.08 moderate, 0.10 light work, 0.20 for up to 2 h; smelled from 0.02 to 0.05 ppm.',
    source: '29 CFR 1910.1000 Table Z-1; OSHA chemical sampling page for ozone',
  },
  {
    id: 'aerosol',
    title: 'Spray of recycled water',
    text: 'Recycled wash water is not potable. Keep it below 25 C or residual-treated, avoid stagnant warm tanks, spray away from people, respirator where assessed. Part of a written water-management plan.',
    figures: 'Legionella multiplies at 25 to 45 C, best at 32 to 42 C, little below 20 C; for some spray uses the risk passed 1 in 10,000 per exposure above 1000 CFU/mL.',
    source: 'WHO 2007 figures (quoted at second hand); Pepper and Gerba 2018, Water Research 139:101-107; CDC toolkit',
  },
  {
    id: 'jet',
    title: 'High-pressure jet',
    text: 'An injection injury is a surgical emergency, even where the wound looks harmless. Never point at people. Trigger lock; residual-current device; no open burner exhaust indoors (carbon monoxide).',
    figures: 'Any device above 100 psi (7 bar) can inject; washers work at 3500 psi (240 bar).',
    source: 'CDC sheet on pressure-washer injuries; Safety+Health article 16154',
  },
  {
    id: 'hot-water',
    title: 'Pressurised hot water',
    text: 'Look at the outlet temperature beside the burn time. Relief valve and thermostat are not for remote override.',
    figures: 'To a serious burn: 49 C (120 F) 8 to 10 min; 55 C (131 F) 17 to 30 s; 60 C (140 F) 3 to 5 s.',
    source: 'burn-time table, Moritz and Henriques type (quoted at second hand)',
  },
  {
    id: 'dosing',
    title: 'Acid and alum',
    text: 'Goggles, face shield, gloves; eyewash in reach. Acid into water, never water into acid. Never share a sump with bleach: acid and hypochlorite make chlorine. Acid and sulphide make hydrogen sulphide.',
    figures: 'Eyewash within 10 s of walking (ANSI Z358.1, from memory). Alum solution is acid; sulfuric acid burns, and heats when diluted.',
    source: 'labels and safety data sheets: 29 CFR 1910.1200; the rest (from memory)',
  },
  {
    id: 'electricity',
    title: 'Electricity in a wet place',
    text: 'Residual-current protection, bonded metalwork; only qualified persons inside panels.',
    figures: 'No figure replaces a test for absence of voltage at the place of work.',
    source: '29 CFR 1910 Subpart S, NFPA 70E (from memory); Safety+Health article 16154',
  },
  {
    id: 'discharge',
    title: 'Discharge',
    text: 'Recycled or crashed water may not go to a storm drain; to a sewer or by tanker only with local permission.',
    figures: 'The permit of the site gives the figures.',
    source: 'from memory',
  },
]

const byId = new Map(CAUTIONS.map((c) => [c.id, c]))

/** Cautions in the order asked; an id that is none of ours is left out (a test keeps the alarm tables clean of such). */
export function cautionsOf(ids: readonly string[]): readonly Caution[] {
  return ids.map((id) => byId.get(id)).filter((c) => c !== undefined)
}

/** The cautions that belong to a loop as it is built. Hot water is left out only where the washer's water is known to stay cold: nowhere. */
export function hazardsOf(site: Site): readonly Caution[] {
  const stage = (...kinds: readonly string[]): boolean => site.stages.some((s) => kinds.includes(s.kind))
  const machine = (kind: string): boolean => site.equipment.some((e) => e.kind === kind)
  const measures = (quantity: string): boolean => site.signals.some((s) => s.quantity === quantity)
  const washes = stage('washer') || machine('washer')
  const here: Readonly<Record<string, boolean>> = {
    h2s: stage('sump', 'treatment', 'bio'),
    'confined-space': stage('sump', 'treatment', 'bio', 'finished'),
    lockout: true,
    ozone: machine('ozone') || measures('ozone'),
    aerosol: washes,
    jet: washes,
    'hot-water': washes,
    dosing: machine('dosing'),
    electricity: true,
    discharge: true,
  }
  return CAUTIONS.filter((c) => here[c.id] !== false)
}
