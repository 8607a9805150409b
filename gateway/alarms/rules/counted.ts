/**
 * n of m around a rule, with what was counted kept over a restart: its verdicts are counted once per sample of the signal it rests on. Looking again at the same sample, because
 * another value of its row has come, replaces what was counted for it.
 */
import { isNormal, N_OF_M_START, stepNOfM, type NOfM, type NOfMState } from '../n-of-m.ts'
import type { ReadyRule, Verdict } from './ready.ts'

export function counted(rule: ReadyRule, c: NOfM): ReadyRule {
  let before: NOfMState = N_OF_M_START
  let after: NOfMState = N_OF_M_START
  let sampleMs = Number.NEGATIVE_INFINITY
  const judge = (atMs: number): Verdict => {
    const v = rule.judge(atMs)
    if (v === 'unknown') return v
    const at = rule.restsOn()?.sourceMs ?? atMs
    if (at > sampleMs) {
      sampleMs = at
      before = after
    }
    if (at === sampleMs) after = stepNOfM(before, v === 'violated' ? true : v === 'cleared' ? false : 'inside', c)
    return after.active ? 'violated' : isNormal(after, c) ? 'cleared' : 'inside'
  }
  return {
    ...rule,
    judge,
    get limit() {
      return rule.limit
    },
    learned: [
      ...(rule.learned ?? []),
      {
        shape: `${c.n} of ${c.m}, ${c.clearN} of ${c.clearM}`,
        keep: () => [[Number(after.active), after.violated, after.normal, sampleMs].filter((v) => Number.isFinite(v))],
        resume([kept]) {
          if (kept?.length !== 4) return
          const [active = 0, violated = 0, normal = 0, at = 0] = kept
          after = { active: active === 1, violated, normal }
          sampleMs = at
        },
        forget: () => {},
      },
    ],
  }
}
