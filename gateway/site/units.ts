/** UCUM codes we know, their display text and the words a screen reader should speak. Source: UCUM 2.2 essence file. */
export interface UnitText {
  readonly text: string
  readonly spoken: string
}

export const UNITS: Readonly<Record<string, UnitText>> = {
  '1': { text: '', spoken: '' },
  '%': { text: '%', spoken: 'percent' },
  '[pH]': { text: '', spoken: '' },
  'mg/L': { text: 'mg/L', spoken: 'milligrams per litre' },
  Cel: { text: '°C', spoken: 'degrees Celsius' },
  mV: { text: 'mV', spoken: 'millivolts' },
  V: { text: 'V', spoken: 'volts' },
  A: { text: 'A', spoken: 'amperes' },
  'L/min': { text: 'L/min', spoken: 'litres per minute' },
  L: { text: 'L', spoken: 'litres' },
  m: { text: 'm', spoken: 'metres' },
  m3: { text: 'm³', spoken: 'cubic metres' },
  mbar: { text: 'mbar', spoken: 'millibar' },
  bar: { text: 'bar', spoken: 'bar' },
  'uS/cm': { text: 'µS/cm', spoken: 'microsiemens per centimetre' },
  '[NTU]': { text: 'NTU', spoken: 'turbidity units' },
  '[ppm]': { text: 'ppm', spoken: 'parts per million' },
  'dB[mW]': { text: 'dBm', spoken: 'decibel milliwatts' },
  'mm/h': { text: 'mm/h', spoken: 'millimetres per hour' },
  h: { text: 'h', spoken: 'hours' },
  s: { text: 's', spoken: 'seconds' },
  min: { text: 'min', spoken: 'minutes' },
  d: { text: 'd', spoken: 'days' },
  '{count}': { text: '', spoken: '' },
}
