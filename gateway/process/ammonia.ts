/**
 * Share of ammonia that is un-ionised (the part that harms life). A calculator for a laboratory figure, not a signal of a loop.
 * source  Emerson et al. 1975: pKa = 0.09018 + 2729.92/T. A public package documents 2727.92 for it; that is a slip, which the
 *         printed table and PHREEQC (9.252 at 25 Cel) both contradict.
 * valid   0-50 degrees C by the fit, 0-30 by its authors' table; dilute water
 */
import { KELVIN_AT_ZERO_CEL } from './factors.ts'
import { positive, within } from './range.ts'

export const ammoniaPKa = (temperatureCel: number): number => 0.09018 + 2729.92 / (within('water temperature', temperatureCel, 0, 50, 'Cel') + KELVIN_AT_ZERO_CEL)

/** 0-1; pH 0-14. */
export const unionisedShare = (ph: number, temperatureCel: number): number => 1 / (1 + 10 ** (ammoniaPKa(temperatureCel) - within('pH', ph, 0, 14, '')))

/** Un-ionised ammonia as nitrogen, from total ammonia nitrogen; same unit in and out. */
export const unionisedAmmoniaN = (totalN: number, ph: number, temperatureCel: number): number =>
  positive('total ammonia nitrogen', totalN, 'mg/L', true) * unionisedShare(ph, temperatureCel)
