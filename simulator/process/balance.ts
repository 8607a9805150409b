/** What can be told of a plant as a whole: does its book close, and how much of its biology is left. */
import { ALKALINITY, codOf, nitrogenOf, SALT } from './species.ts'
import { cultureCod, cultureN } from './biology.ts'
import type { Plant } from './state.ts'
import type { Tank } from './tank.ts'

/** Remembers what the culture can do now; activity is told against it. */
export function markReference(p: Plant): void {
  for (const t of p.water.bio) p.reference.set(t.id, p.biology.capacity(t.culture))
}

/** Fed uptake the culture of a tank could do now, against the reference; the treatment unit when no tank is named. 1 without a reference. */
export function activity(p: Plant, tankId?: string): number {
  const t = (tankId === undefined ? p.water.bio[0] : p.water.bio.find((x) => x.id === tankId)) ?? (p.water.bio[0] as Tank)
  const before = p.reference.get(t.id)
  return before ? p.biology.capacity(t.culture) / before : 1
}

export interface Balance {
  /** Left side minus right side, and the size of what moved. */
  readonly error: number
  readonly size: number
}

/** Does the book close? In = out + kept, for water (L), COD (g), nitrogen (g), alkalinity (mol) and salt (g). */
export function balances(p: Plant): Readonly<Record<'water' | 'cod' | 'nitrogen' | 'alkalinity' | 'salt', Balance>> {
  const all = [p.water.pad, ...p.tanks]
  const kept = (k: number): number => all.reduce((s, t) => s + (t.water.m[k] as number), 0)
  const { inL, outL, came, went, burntG, oxidisedG, alkReactedMol } = p.book
  const inWater = inL.makeUp + inL.rain + inL.dosing + inL.other
  const outWater = outL.evaporation + outL.carryOff + outL.overflow + outL.leak + outL.removed
  const keptCod = all.reduce((s, t) => s + codOf(t.water.m) + cultureCod(t.culture), 0)
  const cod = codOf(came) + p.book.grownG + p.book.fixedG
  const i = p.biology.nitrogen
  const keptN = all.reduce((s, t) => s + nitrogenOf(t.water.m, i) + cultureN(t.culture, i), 0)
  const nitrogen = nitrogenOf(came, i) + p.book.grownN
  const alkOut = (went[ALKALINITY] as number) - alkReactedMol
  return {
    water: { error: inWater - outWater - all.reduce((s, t) => s + t.water.litres, 0), size: inWater },
    cod: { error: cod - codOf(went) - burntG - oxidisedG - keptCod, size: cod },
    nitrogen: { error: nitrogen - nitrogenOf(went, i) - p.book.gasN - keptN, size: nitrogen },
    alkalinity: { error: (came[ALKALINITY] as number) - alkOut - kept(ALKALINITY) - p.pocket.alkMol, size: Math.abs(came[ALKALINITY] as number) + Math.abs(alkOut) },
    salt: { error: (came[SALT] as number) - (went[SALT] as number) - kept(SALT) - p.pocket.saltG, size: came[SALT] as number },
  }
}
