/**
 * Pressure or flow is the proof of air: a contact is blind to a torn line. Where the proof cannot be read, a contact that is
 * open still says "no air", but one that is closed says nothing.
 */
import type { Delays } from '../delay.ts'
import { addDecimal } from '../limit.ts'
import type { RuleOf } from '../rule.ts'
import { heard, known } from '../signal-memory.ts'
import { reading, type Place, type ReadyRule } from './ready.ts'

/** Air that is back must be this much above its proof limit (common practice, no source: deadband 5 %). */
const PROOF_DEADBAND = 0.05

export function noAirRule(rule: RuleOf<'no-air'>, { find }: Place): ReadyRule | null {
  const proof = rule.proof === null || rule.proofLow === null ? null : find(rule.proof)
  const run = rule.run === null ? null : find(rule.run)
  const oxygen = rule.oxygen === null ? null : find(rule.oxygen)
  if (!proof && !run) return null
  const low = rule.proofLow ?? 0
  const back = addDecimal(low, low * PROOF_DEADBAND)
  const slow: Delays = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  const fast: Delays = { onMs: Math.min(rule.fastOnDelayMs, rule.onDelayMs), offMs: rule.offDelayMs }
  const byProof = (): boolean => proof !== null && known(proof)
  return {
    reads: reading(proof, run, oxygen),
    unit: proof?.unit ?? '1',
    limit: proof ? low : null,
    judge: () => {
      if (proof && known(proof)) return proof.value < low ? 'violated' : proof.value >= back ? 'cleared' : 'inside'
      if (!run || !known(run)) return 'unknown'
      if (run.value === 0) return 'violated'
      return proof && heard(proof) ? 'unknown' : 'cleared'
    },
    restsOn: () => (byProof() ? proof : (run ?? proof)),
    value: () => (byProof() ? (proof?.value ?? null) : null),
    delays: () => (oxygen && known(oxygen) && oxygen.value < rule.doFastBelow ? fast : slow),
  }
}
