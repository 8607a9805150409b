/**
 * A site file written for a loop of a given shape: train, machines, and the signals of its level of instrumentation. The three levels
 * (9, 22 and about 40 signals) are what controllers of the trade really send: common practice, no source.
 */
export type Level = 'poor' | 'normal' | 'rich'

export interface Shape {
  readonly id: string
  readonly name: string
  readonly area: string
  readonly customer: string
  readonly zone: string
  readonly position: readonly [number, number]
  readonly altitudeM: number
  /** As in a site file: `always`, or days against times. */
  readonly open: string
  readonly staffed: string
  readonly yardPhone: string
  readonly level: Level
  readonly sampleEvery: string
  readonly reportEvery: string
  readonly pad: { readonly cover: 'open' | 'covered'; readonly areaM2: number; readonly diverter: 'none' | 'manual' | 'auto' }
  readonly sumpL: number | null
  readonly treatmentL: number
  /** Litres of each bio tank. */
  readonly bioL: readonly number[]
  readonly finishedL: number
  readonly retention: 'carriers' | 'settling' | 'none'
  readonly lanceLPerMin: number
  readonly doses: 'acid' | 'alum' | 'bicarbonate' | null
}

const flow = (pairs: readonly (readonly [string, string | number])[]): string => `{ ${pairs.map(([k, v]) => `${k}: ${v}`).join(', ')} }`

/** YAML, readable by readSiteFile. */
export function siteText(s: Shape): string {
  const bios = s.bioL.map((_, i) => `bio${i + 1}`)
  const aerated = ['tu', ...bios].join(', ')
  const dose = s.doses
  const nutrient = s.level !== 'poor'
  const lines = [
    `id: ${s.id}`,
    `name: ${s.name}`,
    `area: ${s.area}`,
    `customer: ${s.customer}`,
    `zone: ${s.zone}`,
    `position: [${s.position[0]}, ${s.position[1]}]`,
    `altitudeM: ${s.altitudeM}`,
    `open: ${s.open}`,
    `staffed: ${s.staffed}`,
    `yardPhone: "${s.yardPhone}"`,
    `instrumentation: ${s.level}`,
    `sampleEvery: ${s.sampleEvery}`,
    `reportEvery: ${s.reportEvery}`,
    `dataPlanMb: ${s.level === 'rich' ? 500 : s.level === 'normal' ? 100 : 10}`,
    '',
    'train:',
    `  - { stage: pad, cover: ${s.pad.cover}, areaM2: ${s.pad.areaM2}, diverter: ${s.pad.diverter} }`,
    ...(s.sumpL === null ? [] : [`  - { stage: sump, volumeL: ${s.sumpL} }`]),
    '  - { stage: filter, rollM: 100 }',
    `  - { stage: treatment, volumeL: ${s.treatmentL}, retention: ${s.retention} }`,
    ...s.bioL.map((v) => `  - { stage: bio, volumeL: ${v}, retention: ${s.retention} }`),
    `  - { stage: finished, volumeL: ${s.finishedL} }`,
    `  - { stage: washer, lanceLPerMin: ${s.lanceLPerMin} }`,
    '',
    'equipment:',
    `  transfer: { kind: pump, name: Transfer pump, serves: [${s.sumpL === null ? 'finished' : 'sump'}], nameplateA: 2.4, flowLPerMin: ${Math.max(40, s.lanceLPerMin + 18)} }`,
    `  blower: { kind: aerator, name: Blower, serves: [${aerated}], nameplateA: 4.6 }`,
    ...(dose ? [`  ${dose}: { kind: dosing, name: ${word(dose)} pump, serves: [tu], doses: ${dose}, flowLPerMin: ${dose === 'acid' ? 0.0333 : 0.0667} }`] : []),
    ...(nutrient ? ['  nutrient: { kind: dosing, name: Nutrient pump, serves: [tu], doses: nutrient, flowLPerMin: 0.02 }'] : []),
    ...(s.level === 'poor' ? [] : ['  ozone: { kind: ozone, name: Ozone generator, serves: [finished], nameplateA: 1.6 }']),
    '  hp: { kind: washer, name: Pressure washer, nameplateA: 21 }',
    '  drive: { kind: filter-drive, name: Paper drive, serves: [filter] }',
    '',
    'signals:',
    ...signalsOf(s).map(([id, over]) => `  ${id}:${over === '' ? '' : ` ${over}`}`),
    '',
    'protections:',
    ...(dose === 'acid' || dose === 'alum' ? [`  ${dose}-max-run: { what: "Timer stops the ${dose} pump after 2 min of one run", present: true, provedOn: "2026-10-08" }`] : []),
    ...(s.sumpL === null ? [] : ['  sump-high-high: { what: "Float in the sump stops the washer", present: true, provedOn: "2026-10-08" }']),
    '  finished-low-low: { what: "Float in the finished tank stops the washer", present: true, provedOn: "2026-10-08" }',
    '  restart-after-power: { what: "Blower restarts by itself when power returns", present: true, provedOn: "2026-10-08" }',
    '',
    'consumables:',
    '  paper: { name: Filter paper, full: 100, unit: m }',
    ...(dose ? [`  ${dose}: { name: ${word(dose)}, full: 60, unit: L }`] : []),
    ...(nutrient ? ['  nutrient: { name: Nutrient solution, full: 60, unit: L }'] : []),
    '  microbes: { name: Microbe culture, full: 20, unit: L }',
  ]
  return `${lines.join('\n')}\n`
}

const word = (dose: string): string => (dose === 'acid' ? 'Acid' : dose === 'alum' ? 'Alum' : 'Bicarbonate')

function signalsOf(s: Shape): readonly (readonly [string, string])[] {
  const sump = s.sumpL !== null
  const meter = (name: string, over: readonly (readonly [string, string | number])[] = []): string => flow([['name', name], ['resolution', 10], ...over])
  if (s.level === 'poor')
    return [
      ['blower.run', ''],
      ['transfer.run', ''],
      ['hp.run', ''],
      ['finished.low', ''],
      [sump ? 'sump.high' : 'bio1.high', ''],
      ['common.trip', ''],
      ['filter.roll-end', ''],
      ['mains.present', ''],
      ['cabinet.temperature', '{ range: [-30, 80] }'],
    ]
  const normal: (readonly [string, string])[] = [
    ['blower.run', ''],
    ['blower.pressure', '{ range: [0, 600] }'],
    ['tu.do', ''],
    ['tu.temperature', ''],
    ['tu.ph', ''],
    [sump ? 'sump.level' : 'bio1.level', ''],
    [sump ? 'sump.high' : 'bio1.high', ''],
    ['finished.level', ''],
    ['transfer.run', ''],
    ['makeup.volume', meter('Make-up water', [['in', 'finished']])],
    ['hp.run', ''],
    ['hp.volume', meter('Wash water')],
    [s.doses ? `${s.doses}.run` : 'hp.current', ''],
    ['nutrient.run', ''],
    ['ozone.run', ''],
    ['filter.index', ''],
    ['filter.roll-end', ''],
    ['common.trip', ''],
    ['panel.auto', ''],
    ['mains.present', ''],
    ['ambient.temperature', '{ range: [-40, 60] }'],
    ['modem.strength', ''],
  ]
  if (s.level === 'normal') return normal
  return [
    ...normal,
    ['blower.current', ''],
    ['bio1.do', ''],
    ['bio1.orp', '{ name: "Redox potential, bio tank 1 (Ag/AgCl)" }'],
    ['transfer.flow', ''],
    ['transfer.current', ''],
    ['hp.flow', ''],
    ['hp.pressure', '{ unit: bar, range: [0, 400], digits: 0 }'],
    ['hp.current', ''],
    ['finished.ph', ''],
    ...(s.doses ? [[`${s.doses}.level`, ''] as const] : []),
    ['tu.conductivity', ''],
    ['makeup.conductivity', '{ in: finished, name: "Conductivity, make-up water" }'],
    ['finished.orp', '{ name: "Redox potential, finished water (Ag/AgCl)" }'],
    ['finished.turbidity', '{ range: [0, 1000] }'],
    ['room.ozone', '{ in: finished, name: Ozone in the plant room }'],
    ...(sump ? [['sump.h2s', '{ range: [0, 100] }'] as const] : []),
    ['mains.l1', '{ quantity: voltage, name: Mains voltage L1 }'],
    ['mains.l2', '{ quantity: voltage, name: Mains voltage L2 }'],
    ['mains.l3', '{ quantity: voltage, name: Mains voltage L3 }'],
    ['containment.leak', ''],
  ].filter(([id], i, all) => all.findIndex(([other]) => other === id) === i) as (readonly [string, string])[]
}
