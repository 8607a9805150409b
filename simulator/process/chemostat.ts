/**
 * Growth in a mixed tank by Monod with decay, where the answer at rest is known in closed form. It sizes things by hand and gives the
 * integrator something exact to be checked against.
 * source  common design texts (Monod with decay; mixed tank with recycle)
 */
export interface Growth {
  /** Per d. */
  readonly muMax: number
  /** Half-saturation, mg/L of the food. */
  readonly kS: number
  /** Per d. */
  readonly decay: number
  /** Biomass per food. */
  readonly yieldShare: number
}

/** Food left when sludge stays `ageD` days, mg/L. throws RangeError when the biomass cannot hold itself at that age. */
export function foodAtRest(g: Growth, ageD: number): number {
  const spare = ageD * (g.muMax - g.decay) - 1
  if (!(spare > 0)) throw new RangeError(`sludge age is ${ageD} d: below ${(1 / (g.muMax - g.decay)).toFixed(3)} d the biomass is washed out however much food there is`)
  return (g.kS * (1 + g.decay * ageD)) / spare
}

/** Sludge age that leaves `food` mg/L, d: 1 / (mu - decay). throws RangeError when growth at that food does not outrun decay. */
export function ageForFood(g: Growth, food: number): number {
  const net = (g.muMax * food) / (g.kS + food) - g.decay
  if (!(net > 0)) throw new RangeError(`${food} mg/L of food does not feed the biomass: below ${leastFood(g).toFixed(2)} mg/L it shrinks`)
  return 1 / net
}

/** Least food on which biomass holds itself, mg/L. */
export const leastFood = (g: Growth): number => (g.kS * g.decay) / (g.muMax - g.decay)

/** Biomass at rest, mg/L: food eaten over dwell, times age, less decay. */
export const biomassAtRest = (g: Growth, ageD: number, dwellD: number, foodIn: number, foodLeft: number): number =>
  (ageD * g.yieldShare * (foodIn - foodLeft)) / (dwellD * (1 + g.decay * ageD))

/** Dwell time that carries `biomass` at a sludge age, d; inverse of biomassAtRest. */
export const dwellForBiomass = (g: Growth, ageD: number, biomass: number, foodIn: number, foodLeft: number): number =>
  (ageD * g.yieldShare * (foodIn - foodLeft)) / (biomass * (1 + g.decay * ageD))

/** Food per biomass per d. */
export const foodToBiomass = (foodIn: number, dwellD: number, biomass: number): number => foodIn / (dwellD * biomass)

/** Days to grow by a factor at a share of the full growth rate. throws RangeError when decay outruns growth. */
export function daysToGrow(factor: number, muMax: number, fed: number, decay: number): number {
  const net = muMax * fed - decay
  if (!(net > 0)) throw new RangeError(`growth of ${muMax * fed} per d does not outrun a decay of ${decay} per d`)
  return Math.log(factor) / net
}
