import { fileURLToPath } from 'node:url'
import { expect, test } from 'vitest'
import { CAUTIONS, cautionsOf, CLOSING_RULE, hazardsOf } from '../../gateway/site/cautions.ts'
import { notObserved } from '../../gateway/site/observable.ts'
import type { Site } from '../../gateway/site/site.ts'
import { readSiteFolder } from '../../gateway/site-folder.ts'
import { loop } from './yard.ts'

const demo = [...readSiteFolder(fileURLToPath(new URL('../../simulator/fleets/demo', import.meta.url))).sites.values()]
const level = (l: Site['instrumentation']): Site => {
  const s = demo.find((x) => x.instrumentation === l)
  if (!s) throw new Error(`no ${l} loop in the demo fleet`)
  return s
}

test('every hazard has a title, what to do, figures and where they come from', () => {
  expect(CAUTIONS.map((c) => c.id)).toEqual(['h2s', 'confined-space', 'lockout', 'ozone', 'aerosol', 'jet', 'hot-water', 'dosing', 'electricity', 'discharge'])
  for (const c of CAUTIONS) {
    expect(c.text.length).toBeGreaterThan(40)
    expect(c.figures).toMatch(/[.]$/)
    expect(c.source).toMatch(/CFR|WHO|CDC|burn-time table|from memory/)
  }
  expect(CLOSING_RULE).toMatch(/does not authorise entry, energising, dosing changes or discharge/)
})

// 29 CFR 1910.1000 tables Z-1 and Z-2, 1910.146, NIOSH: as transcribed in the hazard table this is checked against.
test.each([
  ['h2s', ['20 ppm', '50 ppm for 10 min', '10 ppm (10 min)', '100 ppm']],
  ['confined-space', ['10 %', '19.5 %', '23.5 %']],
  ['ozone', ['0.1 ppm', '5 ppm']],
  ['hot-water', ['49 C', '55 C', '60 C (140 F) 3 to 5 s']],
  ['jet', ['100 psi', '3500 psi']],
  ['aerosol', ['25 to 45 C', '1000 CFU/mL']],
])('the figures of %s are the printed ones', (id, figures) => {
  for (const f of figures) expect(cautionsOf([id])[0]?.figures).toContain(f)
})

test('cautions come in the order asked, an unknown id is left out', () => {
  expect(cautionsOf(['ozone', 'nothing', 'h2s']).map((c) => c.id)).toEqual(['ozone', 'h2s'])
})

test('a loop without ozone and dosing shows neither, every loop shows gas, entry, lockout and electricity', () => {
  const ids = hazardsOf(level('poor')).map((c) => c.id)
  expect(ids).toEqual(expect.arrayContaining(['h2s', 'confined-space', 'lockout', 'electricity', 'discharge', 'jet']))
  expect(ids).not.toContain('dosing')
  expect(ids).not.toContain('ozone')
  expect(hazardsOf(level('rich')).map((c) => c.id)).toEqual(expect.arrayContaining(['ozone', 'dosing']))
})

test('a poor loop says first that its biology is not observed, and what would change that', () => {
  const [first] = notObserved(level('poor'))
  expect(first).toEqual({
    what: 'The biology is not observed here: oxygen, uptake and poisoning. It is known only from the last visit.',
    seen: 'no',
    unlock: 'Oxygen and temperature in the treatment unit',
  })
})

test('each level of instrumentation leaves less unseen, and even a rich loop cannot see oil, alkalinity or uptake', () => {
  const [p, n, r] = (['poor', 'normal', 'rich'] as const).map((l) => notObserved(level(l)))
  expect(p?.length).toBeGreaterThan(n?.length ?? 0)
  expect(n?.length).toBeGreaterThan(r?.length ?? 0)
  const words = r?.map((x) => x.what).join(' ') ?? ''
  for (const w of ['Oil', 'Alkalinity', 'How fast the biology breathes']) expect(words).toContain(w)
})

test('a signal that is added takes its sentence away', () => {
  const without = notObserved(loop((t) => t.replace('  blower1.pressure:\n', '')))
  expect(without.some((x) => x.what.includes('blind to a torn air line'))).toBe(true)
  expect(notObserved(loop()).some((x) => x.what.includes('blind to a torn air line'))).toBe(false)
  const orp = (s: Site) => notObserved(s).some((x) => x.what.startsWith('Oxidants'))
  expect([orp(loop()), orp(loop((t) => t.replace('  tu.do:\n', '  tu.do:\n  bio1.orp:\n')))]).toEqual([true, false])
})

test('a tank without a probe is named, because a probe in another tank says nothing about it', () => {
  expect(notObserved(loop()).find((x) => x.what.startsWith('Oxygen in'))).toMatchObject({ what: expect.stringContaining('Bio tank 2') })
})

test('protection that is present and was never proved is named', () => {
  const site = loop(
    (t) =>
      `${t}protections:\n  acid-max-run: { what: "Timer stops the acid pump", present: true }\n  high: { what: "Float stops the washer", present: true, provedOn: "2026-05-01" }\n`,
  )
  const words = notObserved(site).map((x) => x.what)
  expect(words).toContain('Whether local protection still works: Timer stops the acid pump.')
})
