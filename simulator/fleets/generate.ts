/**
 * A fleet of any size, drawn from a seed: three in ten loops poor, five and a half normal, one and a half rich, as in a real fleet
 * (common practice, no source). Loop `i` of a seed is the same whatever the size of the fleet. All names are made up of syllables.
 */
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'
import type { PlantSpec } from '../process/spec.ts'
import { draw } from '../random.ts'
import { CLIMATES, type ClimateName, TRADES, type Trade, yard } from './yard.ts'
import { type Level, type Shape, siteText } from './site-text.ts'

const HEAD = ['Bram', 'Corl', 'Dun', 'Esk', 'Fenn', 'Gar', 'Holm', 'Ivel', 'Karr', 'Lang', 'Mers', 'Nor', 'Osk', 'Pell', 'Quor', 'Rath', 'Skel', 'Thorn', 'Ulver', 'Wrax'] as const
const TAIL = ['beck', 'combe', 'dale', 'fold', 'garth', 'holt', 'lith', 'mere', 'ness', 'rigg', 'scar', 'stead', 'thwaite', 'wick'] as const
const YARD: Readonly<Record<Trade, string>> = {
  buses: 'Bus Depot',
  lorries: 'Haulage Yard',
  quarry: 'Quarry',
  refuse: 'Refuse Depot',
  boats: 'Boat Park',
  food: 'Dairy Yard',
  farm: 'Machinery Ring',
}
const PLACES: Readonly<Record<ClimateName, { readonly zone: string; readonly area: string; readonly position: readonly [number, number]; readonly voltage: number }>> = {
  mildCoast: { zone: 'Europe/London', area: 'Coast', position: [51, -4], voltage: 400 },
  warmCoast: { zone: 'Europe/Lisbon', area: 'Coast', position: [39, -8], voltage: 400 },
  inland: { zone: 'Europe/Berlin', area: 'Inland', position: [51, 12], voltage: 400 },
  north: { zone: 'Europe/Stockholm', area: 'North', position: [63, 20], voltage: 400 },
  plains: { zone: 'America/Chicago', area: 'Plains', position: [42, -93], voltage: 480 },
  highDesert: { zone: 'America/Denver', area: 'Plains', position: [35, -106], voltage: 480 },
  south: { zone: 'Pacific/Auckland', area: 'South', position: [-38, 174], voltage: 400 },
}

/** Loops of a seed; throws RangeError for a number of loops that is none. */
export function generate(loops: number, seed: number): readonly { readonly spec: PlantSpec; readonly file: string; readonly text: string }[] {
  if (!Number.isInteger(loops) || loops < 1 || loops > 5000) throw new RangeError(`${loops} loops: a whole number from 1 to 5000 is needed`)
  return Array.from({ length: loops }, (_, i) => {
    const { shape, facts } = loopOf(i, seed)
    const text = siteText(shape)
    const file = `${shape.id}.yaml`
    const read = readSiteFile(file, text)
    if (!read.ok) throw new Error(read.faults.map(faultText).join('\n'))
    return { spec: { site: read.site, facts, seed }, file, text }
  })
}

function loopOf(i: number, seed: number): { readonly shape: Shape; readonly facts: PlantSpec['facts'] } {
  const pick = <T>(name: string, list: readonly T[]): T => list[Math.floor(draw(seed, name, i) * list.length)] as T
  const climate = pick('climate', Object.keys(CLIMATES) as ClimateName[])
  const trade = pick('trade', Object.keys(TRADES) as Trade[])
  const place = PLACES[climate]
  // Every twenty loops hold six poor, eleven normal and three rich ones.
  const turn = (i * 7) % 20
  const level: Level = turn < 6 ? 'poor' : turn < 17 ? 'normal' : 'rich'
  const name = `${pick('head', HEAD)}${pick('tail', TAIL)} ${YARD[trade]}`
  const tanks = 1 + Math.floor(draw(seed, 'tanks', i) * 3)
  const dosed = level !== 'poor' && draw(seed, 'dosed', i) < 0.7
  const open = draw(seed, 'round the clock', i) < 0.15 ? 'always' : '{ mon-fri: "06:00-20:00", sat: "07:00-16:00" }'
  const every = level === 'rich' ? '10s' : level === 'normal' ? '60s' : '15min'
  const shape: Shape = {
    id: `${name.toLowerCase().replace(/[^a-z]+/g, '-')}-${i + 1}`,
    name: `${name} ${i + 1}`,
    area: place.area,
    customer: `${name.split(' ')[0]} Works`,
    zone: place.zone,
    position: [place.position[0] + Math.round(20 * draw(seed, 'lat', i)) / 10, place.position[1] + Math.round(20 * draw(seed, 'lon', i)) / 10],
    altitudeM: Math.round(10 + (climate === 'highDesert' ? 1500 : 250) * draw(seed, 'height', i)),
    open,
    staffed: '{ mon-fri: "06:00-18:00" }',
    yardPhone: `555-01${String(i % 100).padStart(2, '0')} (yard)`,
    level,
    sampleEvery: level === 'poor' ? '10s' : every,
    reportEvery: level === 'normal' && draw(seed, 'block', i) < 0.3 ? '5min' : level === 'rich' ? '60s' : every,
    pad: {
      cover: draw(seed, 'cover', i) < 0.4 ? 'covered' : 'open',
      areaM2: Math.round(50 + 50 * draw(seed, 'pad', i)),
      diverter: pick('diverter', ['none', 'none', 'manual', 'auto'] as const),
    },
    sumpL: draw(seed, 'sump', i) < 0.85 ? 1100 : null,
    treatmentL: Math.round(18 + 14 * draw(seed, 'treatment', i)) * 100,
    bioL: Array.from({ length: tanks }, () => 7600),
    finishedL: 5700,
    retention: pick('retention', ['carriers', 'carriers', 'settling', 'none'] as const),
    lanceLPerMin: 23,
    doses: dosed ? (draw(seed, 'alum', i) < 0.25 ? 'alum' : 'acid') : null,
  }
  const facts = yard({
    climate,
    trade,
    busy: 0.6 + 0.6 * draw(seed, 'busy', i),
    tanks,
    dosed,
    hardness: Math.round(40 + 200 * draw(seed, 'hardness', i)),
    indoorC: draw(seed, 'indoors', i) < 0.6 ? 13 : null,
    voltage: place.voltage,
  })
  return { shape, facts }
}
