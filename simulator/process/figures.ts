/**
 * Figures of the working model, each with where it comes from. "Ours" means chosen so that the loop behaves like the
 * reference loop in tests/simulator/reference-loop.ts, whose timings are common practice, no source; it is not outside truth.
 */
/** g COD made into cells per g taken up. ASM1, Henze et al. 2000. */
export const yieldCod = 0.67
/** Most COD a gram of active biomass takes up, per h at 20 C: mu 4 per day / 0.67. ASM1 as set in the benchmark BSM1. */
export const uptakePerH = 4 / 24 / 0.67
/** Half-saturation of uptake, mg COD/L. K_S of BSM1. */
export const halfSatCod = 10
/**
 * Cells that have eaten up their store fall half asleep: enzymes are given up first. Share of the uptake that is left without any, g stored per g active
 * at which half of the rest is given up, and hours in which a culture falls asleep or wakes. Ours; the time to wake after sludge idle for seven weeks,
 * whose rate went from 0.17 to 0.57 mg/L/min in a day and was full in a week (granular sludge idle study, abstract).
 */
export const sleepingShare = 0.35
export const sleepHalf = 0.1
export const wakeH = 24
/** Half-saturation of oxygen, mg/L. ASM1 K_OH. */
export const halfSatOxygen = 0.2
/** Inert share of decayed cells. ASM1 f_P. */
export const inertShare = 0.08
/** Loss of active biomass without food, per h at 20 C: 3 % a day, so that capacity is at 0.7 after 12 days without washing. Ours. */
export const decayPerH = 0.03 / 24
/** Burning of stored matter, per h at 20 C per active biomass, with its half-saturation in g stored per g active. Ours. */
export const storePerH = 0.263 / 24
export const storeHalf = 1
/** Share of new cells that stays attached while there is room, and share laid down as store. The rest floats. Ours. */
export const attachShare = 0.3
export const layDownShare = 0.22
/** Catching of floating flakes and particles by carriers and cones, per h. Ours. */
export const catchLivingPerH = 0.02
export const catchStorePerH = 0.025
/** Lowest alpha, surfactant in plenty. Schwarz et al. 2021: 0.33 to 0.54. */
export const alphaMin = 0.35
/** Surfactant taken apart per h by 900 mg/L of active biomass; oil likewise. Ours. */
export const surfactantPerH = 0.9
export const oilPerH = 0.05
/** Surfactant that halves uptake, mg/L. Ours. */
export const surfactantHalf = 150
/** mol CO2 made per mol oxygen used. Common practice, no source. */
export const respiratoryQuotient = 0.9
/** CO2 in air, atm. NOAA Global Monitoring Laboratory: about 420 ppm in 2023 (from memory). */
export const pCo2 = 4.2e-4
/** Oxygen the surface alone takes up, per h, in a still tank. Common practice, no source. */
export const surfacePerH = 0.1
