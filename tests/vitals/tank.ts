/** A small site and one tank whose oxygen is known to the last figure: for tests of air-off tests. */
import { createVitals, type Vitals } from '../../gateway/vitals/evaluator.ts'
import { saturationMgPerL } from '../../gateway/process/oxygen.ts'
import { doAfterMgPerL } from '../../gateway/process/transfer.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { gaussian, seeded } from '../process/noise.ts'
import { good, HOUR, MIN, START } from './plant.ts'

export function siteOf(signals: string, extra = ''): Site {
  const read = readSiteFile(
    'tank.yaml',
    `
id: tank
name: Tank
zone: UTC
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: filter, rollM: 100 }
  - { stage: treatment, volumeL: 2300, retention: carriers }
  - { stage: bio, volumeL: 7600, retention: carriers }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  transfer: { kind: pump, serves: [sump], flowLPerMin: 40 }
  blower: { kind: aerator, serves: [tu, bio1] }
  acid: { kind: dosing, serves: [tu], doses: acid, flowLPerMin: 0.0333 }
  hp: { kind: washer, nameplateA: 20 }
signals:
${signals}
${extra}`,
  )
  if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('\n'))
  return read.site
}

export interface Level {
  readonly everyS: number
  readonly resolution: number
  readonly noise: number
}

/** How the levels of instrumentation see oxygen; poor ones do not. */
export const LEVELS: Readonly<Record<'normal' | 'rich' | 'rich, fine probe', Level>> = {
  normal: { everyS: 60, resolution: 0.1, noise: 0.03 },
  rich: { everyS: 10, resolution: 0.1, noise: 0.03 },
  'rich, fine probe': { everyS: 10, resolution: 0.01, noise: 0.03 },
}

export const testSite = (l: Level): Site =>
  siteOf(
    ['tu.do', 'tu.temperature', 'blower.run', 'transfer.run', 'hp.run']
      .map((id) => `  ${id}: { sampleEvery: ${l.everyS}s, reportEvery: ${l.everyS}s${id === 'tu.do' ? `, resolution: ${l.resolution}` : ''} }`)
      .join('\n'),
  )

export interface AirOffTest {
  readonly uptake: number
  readonly surface: number
  readonly minutes: number
  readonly start: number
  readonly seed: number
  readonly kLa?: number
}

/** Ten minutes of air, the stop, and `after` minutes of air again; readings of the whole panel in rows. */
export function rowsOf(site: Site, l: Level, t: AirOffTest, afterMin = 2): readonly Reading[] {
  const noise = gaussian(t.seed)
  const phaseS = Math.floor(seeded(t.seed + 77)() * l.everyS)
  const cs = saturationMgPerL(20)
  const out: Reading[] = []
  const offS = 600
  const backS = offS + t.minutes * 60
  const fallen = doAfterMgPerL(t.start, t.minutes / 60, { kLaPerH: t.surface, saturationMgPerL: cs, uptakeMgPerLPerH: t.uptake })
  for (let s = phaseS; s < backS + afterMin * 60; s += l.everyS) {
    const on = s < offS || s >= backS
    const oxygen =
      s < offS
        ? t.start
        : on
          ? doAfterMgPerL(fallen, (s - backS) / 3600, { kLaPerH: t.kLa ?? 10, saturationMgPerL: cs, uptakeMgPerLPerH: t.uptake })
          : doAfterMgPerL(t.start, (s - offS) / 3600, { kLaPerH: t.surface, saturationMgPerL: cs, uptakeMgPerLPerH: t.uptake })
    const shown = Math.max(0, Math.round((oxygen + noise(l.noise)) / l.resolution) * l.resolution)
    const atMs = START + s * 1000
    const put = (id: string, value: number): void => void out.push(good(keyOf(site.id, id), atMs, value))
    put('blower.run', on ? 1 : 0)
    put('tu.temperature', 20)
    put('tu.do', shown)
    put('transfer.run', 0)
    put('hp.run', 0)
  }
  return out
}

export function runTest(l: Level, t: AirOffTest, afterMin = 2): Vitals {
  const site = testSite(l)
  const v = createVitals(site)
  v.take(rowsOf(site, l, t, afterMin))
  v.take([good(keyOf(site.id, 'tu.temperature'), START + 12 * HOUR + MIN, 20)])
  return v
}
