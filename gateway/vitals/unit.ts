/** Units that only computed signals have, as UCUM codes with the text shown and the words spoken. Source: UCUM 2.2 essence file. */
import { UNITS, type UnitText } from '../site/units.ts'

const OWN: Readonly<Record<string, UnitText>> = {
  'mg/L/h': { text: 'mg/L/h', spoken: 'milligrams per litre and hour' },
  '/h': { text: 'per h', spoken: 'per hour' },
  'L/h': { text: 'L/h', spoken: 'litres per hour' },
  'L/m3': { text: 'L/m³', spoken: 'litres per cubic metre' },
  'm/m3': { text: 'm/m³', spoken: 'metres per cubic metre' },
  '{count}/m3': { text: 'per m³', spoken: 'per cubic metre' },
  'kW.h/m3': { text: 'kWh/m³', spoken: 'kilowatt hours per cubic metre' },
}

export const vitalUnit = (code: string): UnitText => OWN[code] ?? UNITS[code] ?? { text: code, spoken: code }
