/** The yards of the fleet of twelve: seven climates, seven trades, soft and hard water, rooms and open air. Invented. */
import type { YardFacts } from '../../process/spec.ts'
import { yard } from '../yard.ts'

export const twelveYards: Readonly<Record<string, YardFacts>> = {
  'aldmarsh-ferry-slip': yard({ climate: 'mildCoast', trade: 'lorries', busy: 1.1, tanks: 2, dosed: true, hardness: 120, indoorC: 15, voltage: 400 }),
  'birkwater-bus-south': yard({ climate: 'inland', trade: 'buses', busy: 1.2, tanks: 3, dosed: true, hardness: 220, indoorC: 14, voltage: 400 }),
  'cobblesett-tram-yard': yard({ climate: 'inland', trade: 'buses', busy: 0.8, tanks: 2, dosed: true, hardness: 180, indoorC: 16, voltage: 400 }),
  'dravenhope-dairy': yard({ climate: 'inland', trade: 'food', busy: 1, tanks: 4, dosed: true, hardness: 140, indoorC: 16, voltage: 400 }),
  'eskerdun-gravel-pit': yard({ climate: 'highDesert', trade: 'quarry', busy: 0.9, tanks: 1, dosed: true, hardness: 110, indoorC: null, voltage: 480 }),
  'fallowmere-machinery-ring': yard({ climate: 'south', trade: 'farm', busy: 0.8, tanks: 1, dosed: false, hardness: 70, indoorC: null, voltage: 230 }),
  'garrowby-refuse-depot': yard({ climate: 'plains', trade: 'refuse', busy: 1, tanks: 2, dosed: false, hardness: 200, indoorC: 9, voltage: 480 }),
  'hollinquay-boat-lift': yard({ climate: 'warmCoast', trade: 'boats', busy: 0.9, tanks: 1, dosed: false, hardness: 150, indoorC: null, voltage: 230 }),
  'isenholt-snowplough-base': yard({ climate: 'north', trade: 'lorries', busy: 0.8, tanks: 2, dosed: true, hardness: 25, indoorC: 12, voltage: 400 }),
  'kestermoor-timber-haulage': yard({ climate: 'north', trade: 'lorries', busy: 0.6, tanks: 1, dosed: false, hardness: 45, indoorC: 10, voltage: 400 }),
  'larkspit-container-park': yard({ climate: 'mildCoast', trade: 'lorries', busy: 1.3, tanks: 3, dosed: true, hardness: 190, indoorC: null, voltage: 400 }),
  'mossgill-slate-works': yard({ climate: 'south', trade: 'quarry', busy: 1, tanks: 2, dosed: true, hardness: 55, indoorC: null, voltage: 400 }),
}
