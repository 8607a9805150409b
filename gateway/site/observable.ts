/**
 * What a loop cannot tell, and which signal would unlock it (common practice, no source). Said on the page of the loop, so that
 * silence about the biology is never read as good news about it.
 */
import type { Quantity } from './quantity.ts'
import type { Site } from './site.ts'

export interface NotObserved {
  readonly what: string
  readonly seen: 'no' | 'partly'
  /** What it would take. */
  readonly unlock: string
}

export function notObserved(site: Site): readonly NotObserved[] {
  const kindOf = (at: string | null): string | null => site.stages.find((s) => s.id === at)?.kind ?? site.equipment.find((e) => e.id === at)?.kind ?? null
  const at = (q: Quantity, ...kinds: readonly string[]): boolean => site.signals.some((s) => s.quantity === q && (kinds.length === 0 || kinds.includes(kindOf(s.at) ?? '')))
  const biology = ['treatment', 'bio'] as const
  const out: NotObserved[] = []
  const say = (seen: NotObserved['seen'], what: string, unlock: string): void => {
    out.push({ what, seen, unlock })
  }

  const oxygen = at('do', ...biology)
  if (!oxygen) say('no', 'The biology is not observed here: oxygen, uptake and poisoning. It is known only from the last visit.', 'Oxygen and temperature in the treatment unit')
  else {
    if (!at('temperature', ...biology))
      say('partly', 'Oxygen without water temperature: what is normal for the day cannot be told from what is not.', 'Temperature in the treatment unit')
    say(
      'partly',
      'How fast the biology breathes: oxygen shows demand against supply, not uptake; overload and poor transfer look alike.',
      'A local timer that stops the air 10 to 20 min at a quiet hour, restarted by itself',
    )
    const bare = site.stages.filter((s) => s.kind === 'bio' && !site.signals.some((x) => x.quantity === 'do' && x.at === s.id))
    if (bare.length > 0) say('no', `Oxygen in ${list(bare.map((s) => s.name))}: a probe in another tank says nothing about it.`, `Oxygen in ${bare[0]?.name ?? 'the bio tank'}`)
  }

  const aerators = site.equipment.filter((e) => e.kind === 'aerator')
  const proved = aerators.filter((e) => site.signals.some((s) => s.at === e.id && (s.quantity === 'pressure' || s.quantity === 'flow')))
  if (aerators.length === 0) say('no', 'Whether there is air: no blower is described.', 'The blower in the site file, with its air pressure')
  else if (proved.length < aerators.length) {
    const blind = aerators.filter((e) => !proved.includes(e))
    say('partly', `Air from ${list(blind.map((e) => e.name))}: a contact is blind to a torn air line.`, 'Air pressure (or flow) behind the blower')
  }

  if (!at('ph', ...biology)) say('no', 'Acid and alkali in the biology, and whether dosing does what it should.', 'pH in the treatment unit')
  say('no', 'Alkalinity: no probe measures it. Without a kit value not older than 30 days it is withheld.', 'A kit reading in the site log every month')
  if (!at('orp', ...biology)) say('no', 'Oxidants (bleach, ozone carried over) and the turn to septic before the smell.', 'Redox potential in the bio tank')

  if (!at('level', 'finished')) say(at('float', 'finished') ? 'partly' : 'no', 'How many minutes of washing are left.', 'Level of the finished-water tank')
  if (!at('level', 'sump')) say(at('float', 'sump') ? 'partly' : 'no', 'How fast the sump fills, and when it runs over.', 'Level of the sump')
  const makeUp = site.signals.some((s) => (s.quantity === 'volume' || s.quantity === 'pulses') && /make-?_?up/i.test(`${s.id} ${s.name}`))
  const wash = at('volume', 'washer') || at('pulses', 'washer') || at('flow', 'washer')
  if (!makeUp || !wash)
    say(
      'no',
      'Leaks, consumption and water saved: no water balance without both meters.',
      list([...(makeUp ? [] : ['Make-up water meter']), ...(wash ? [] : ['Wash water meter'])]),
    )
  if (!wash && !at('run', 'washer')) say('no', 'When and how much is washed, so load and normal rest cannot be told apart.', 'Run contact or water meter of the washer')

  if (site.stages.some((s) => s.kind === 'pad' && s.pad?.cover === 'open') && !at('rain'))
    say('partly', 'Rain on the open pad: a storm looks like washing.', 'Rain, or the position of the diverter')
  if (site.equipment.some((e) => e.kind === 'ozone') && !at('ozone')) say('no', 'Ozone in the air of the plant room: only the local beacon protects there.', 'Ozone-in-air sensor')
  if (!at('h2s')) say('no', 'Hydrogen sulphide at the sump: nobody is warned from here.', 'A fixed or personal gas meter on site')
  if (!at('present')) say('no', 'Power cut or lost link: when it goes silent the two cannot be told apart.', 'Mains-present contact with a last message on battery')
  if (!at('auto')) say('no', 'A selector left in hand or off after a visit.', 'Selector position of blower and dosing')
  if (!at('turbidity')) say('no', 'Solids washed out into the finished water.', 'Turbidity of the finished water')
  say('no', 'Oil, paint, solvents and the mass of living biology: no usual signal sees them.', 'Report buttons for the yard, kit values, and a look at the visit')
  const unproved = site.protections.filter((p) => p.present && p.provedOn === null)
  if (unproved.length > 0) say('partly', `Whether local protection still works: ${list(unproved.map((p) => p.what))}.`, 'Test it and write the date into the site file')
  return out
}

const list = (names: readonly string[]): string => (names.length < 2 ? (names[0] ?? '') : `${names.slice(0, -1).join(', ')} and ${names[names.length - 1]}`)
