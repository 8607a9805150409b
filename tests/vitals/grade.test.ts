import fc from 'fast-check'
import { expect, test } from 'vitest'
import { doubted, GOOD, type Grade, gradeOf, rank, worse, worst } from '../../gateway/vitals/grade.ts'

/** From most to least trusted: passed, not evaluated, suspect, missing, failed. */
const QC = [1, 2, 3, 9, 4] as const
const grade: fc.Arbitrary<Grade> = fc.record({
  quality: fc.constantFrom('good', 'uncertain', 'bad'),
  sub: fc.constantFrom('ok', 'not_accurate', 'missing', 'sensor_failure'),
  qc: fc.constantFrom(...QC),
})
const qcRank = (g: Grade): number => QC.indexOf(g.qc)

test('of two grades the worse comes out, in either order, and the same grade twice changes nothing', () => {
  fc.assert(
    fc.property(grade, grade, (a, b) => {
      const [ab, ba] = [worse(a, b), worse(b, a)]
      expect(rank(ab.quality)).toBe(Math.max(rank(a.quality), rank(b.quality)))
      expect(qcRank(ab)).toBe(Math.max(qcRank(a), qcRank(b)))
      expect([ab.quality, ab.qc]).toEqual([ba.quality, ba.qc])
      expect(worse(ab, a).quality).toBe(ab.quality)
    }),
  )
})

test('however many grades go in, in whatever order, none of them is worse than what comes out', () => {
  fc.assert(
    fc.property(fc.array(fc.option(grade), { maxLength: 8 }), (all) => {
      const out = worst(all)
      const there = all.filter((g) => g !== null)
      expect(there.every((g) => rank(g.quality) <= rank(out.quality) && qcRank(g) <= qcRank(out))).toBe(true)
      expect(worst([...all].reverse()).quality).toBe(out.quality)
      if (there.length === 0) expect(out).toBe(GOOD)
    }),
  )
})

test('what stands on something assumed is never good, and what was bad stays bad', () => {
  fc.assert(fc.property(grade, (g) => rank(doubted(g).quality) === Math.max(1, rank(g.quality)) && doubted(g).qc === g.qc))
})

test('a grade read twice is one object, so that it keeps no reading', () => {
  fc.assert(fc.property(grade, (g) => gradeOf(g) === gradeOf({ ...g })))
})
