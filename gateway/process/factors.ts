/**
 * Exact unit factors. They follow from definitions (1 in = 25.4 mm, 1 lb = 0.45359237 kg, g = 9.80665 m/s2, US gallon = 231 in3),
 * the ones NIST SP 811 Appendix B tabulates. The house computes in metric; these serve sites that are described in other units.
 */
export const GRAVITY_M_PER_S2 = 9.80665
export const INCH_MM = 25.4
export const FOOT_M = 0.3048
export const POUND_KG = 0.45359237
export const US_GALLON_L = 231 * 0.254 ** 3
export const PSI_PA = (POUND_KG * GRAVITY_M_PER_S2) / 0.0254 ** 2
export const HORSEPOWER_W = 550 * FOOT_M * POUND_KG * GRAVITY_M_PER_S2
export const ATM_PA = 101_325
export const MM_HG_PER_ATM = 760
/** Conventional inch of water column (density 1000 kg/m3). */
export const INCH_WATER_PA = 0.0254 * 1000 * GRAVITY_M_PER_S2
export const KELVIN_AT_ZERO_CEL = 273.15

/** Degrees Fahrenheit to degrees Celsius. */
export const celFromFahrenheit = (fahrenheit: number): number => (fahrenheit - 32) / 1.8

/** Mass carried by a stream, kg/d, from its flow (m3/d) and what it holds (mg/L). */
export const loadKgPerD = (flowM3PerD: number, concentrationMgPerL: number): number => (flowM3PerD * concentrationMgPerL) / 1000
