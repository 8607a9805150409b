/**
 * What kills: explicit loss of active biomass per hour by pH, free oxidant, heat and lack of oxygen. Growth models of the
 * ASM family cannot crash; these rates make a crash possible. All of them are OURS, to be read as
 * "harmed within hours", never as measured kinetics.
 */
/** [pH, per h], log-linear between. Ours. */
const ACID: readonly (readonly [number, number])[] = [
  [5.5, 0.02],
  [5.0, 0.1],
  [4.5, 0.5],
  [4.0, 1.5],
]
const ALKALINE: readonly (readonly [number, number])[] = [
  [10, 0.05],
  [11, 0.5],
]

/** Per h at a pH; nothing between 6 and 9.5, fading in towards the tables, held at their ends. */
export function pHKill(ph: number): number {
  if (ph > 6 && ph < 9.5) return 0
  if (ph <= 6) return table(ACID, ph, 6)
  return table(ALKALINE, ph, 9.5)
}

function table(rows: readonly (readonly [number, number])[], ph: number, from: number): number {
  const [p0, k0] = rows[0] as readonly [number, number]
  const fade = (ph - from) / (p0 - from)
  if (fade < 1) return fade <= 0 ? 0 : k0 * fade
  for (let i = 1; i < rows.length; i++) {
    const [a, ka] = rows[i - 1] as readonly [number, number]
    const [b, kb] = rows[i] as readonly [number, number]
    const s = (ph - a) / (b - a)
    if (s >= 0 && s <= 1) return Math.exp(Math.log(ka) + s * (Math.log(kb) - Math.log(ka)))
  }
  return (rows[rows.length - 1] as readonly [number, number])[1]
}

/** Loss of active biomass, per h. Oxidant and biocide in mg/L; anoxicH: hours without oxygen so far, 0 while there is some. */
export function killPerH(ph: number, oxidant: number, toxicant: number, tempC: number, anoxicH: number, carriers: boolean): number {
  let k = pHKill(ph) + 0.5 * Math.max(0, oxidant) + 0.05 * Math.max(0, toxicant)
  if (tempC > 40) k += 0.2
  if (anoxicH > 0) k += (anoxicH < 72 ? 0.0015 : 0.01) * 2 ** ((tempC - 20) / 10)
  return carriers ? k / 2 : k
}
